"""Staff members and their roles."""

from typing import Any, ClassVar

from django.contrib.auth.models import AbstractUser, UserManager
from django.db import models
from simple_history.models import HistoricalRecords


class Role(models.TextChoices):
    DESK = "desk", "service desk"
    MECHANIC = "mechanic", "mechanic"
    TUNER = "tuner", "tuner"
    OWNER = "owner", "owner"


class StaffManager(UserManager["StaffMember"]):
    use_in_migrations = False  # a migration must not depend on code that changes

    def create_superuser(self, *args: Any, **fields: Any) -> "StaffMember":
        """Create the first staff member at the command line, as an owner."""
        return super().create_superuser(*args, **{"is_owner": True, **fields})

    def active_owners(self) -> models.QuerySet["StaffMember"]:
        return self.filter(is_owner=True, is_active=True)


class StaffMember(AbstractUser):
    """A person with a login, who may have several roles."""

    is_desk = models.BooleanField("service desk", default=False)
    is_mechanic = models.BooleanField("mechanic", default=False)
    is_tuner = models.BooleanField("tuner", default=False)
    is_owner = models.BooleanField("owner", default=False)
    objects: ClassVar[StaffManager] = StaffManager()
    _change_reason: str  # stored in the history of the next change
    history = HistoricalRecords(excluded_fields=["password", "last_login"])

    class Meta:
        ordering = ("username",)

    def __str__(self) -> str:
        return self.get_full_name() or self.username

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Save without a history row if only the time of the last login changed."""
        is_login = set(kwargs.get("update_fields") or ()) == {"last_login"}
        if is_login:
            self.skip_history_when_saving = True  # simple_history only checks that the attribute exists
        super().save(*args, **kwargs)
        if is_login:
            del self.skip_history_when_saving

    @property
    def roles(self) -> set[Role]:
        return {role for role in Role if getattr(self, f"is_{role.value}")}

    @property
    def role_names(self) -> str:
        return ", ".join(role.label for role in Role if role in self.roles) or "no role yet"

    def holds(self, *roles: Role) -> bool:
        """Return True if this person has one of the roles; the owner may do everything."""
        return self.is_active and (self.is_owner or not self.roles.isdisjoint(roles))
