"""Forms of staff members: person, roles, password, login."""

from typing import Any

from django import forms
from django.contrib.auth import authenticate
from django.contrib.auth.forms import (
    AuthenticationForm,
    BaseUserCreationForm,
    PasswordChangeForm,
    SetPasswordForm,
)
from django.http import QueryDict

from workshop.access.roles import StaffRequest
from workshop.models import Role, StaffMember
from workshop.records.field_groups import FieldGroupsMixin

ROLE_FIELDS = tuple(f"is_{role.value}" for role in Role)
PERSON_FIELDS = ("username", "first_name", "last_name", "email")
ROLE_HELP = {
    "is_desk": "books jobs, checks in bikes, manages customers, sends handover sheets",
    "is_mechanic": "measures clearances, plans shims, manages shim stock",
    "is_tuner": "uploads runs, records tunes, makes comparisons",
    "is_owner": "can do everything. Only the owner can change staff, shop settings, engines and checklists",
}
NO_ROLE = "Choose at least one role. Without a role this person cannot open any page."
AGAIN = "Enter the new password again."
LAST_OWNER = "This is the only active owner. Make someone else an owner first."


class LoginForm(AuthenticationForm):
    error_messages = {
        "invalid_login": "Wrong username or password. Both are case-sensitive.",
        "inactive": "This account is closed. Ask the shop owner to reopen it.",
    }


class OwnPasswordForm(FieldGroupsMixin, PasswordChangeForm):
    """Change one's own password; wrong old ones are counted as wrong tries at the login are."""

    def __init__(self, request: StaffRequest, data: QueryDict | None) -> None:
        super().__init__(request.user, data)
        self.request = request
        self.fields["new_password2"].help_text = AGAIN

    def clean_old_password(self) -> str:
        """Return the old password if it is right."""
        old: str = self.cleaned_data["old_password"]
        if authenticate(self.request, username=self.user.get_username(), password=old) is None:
            raise forms.ValidationError(self.error_messages["password_incorrect"], code="password_incorrect")
        return old


class NewPasswordForm(FieldGroupsMixin, SetPasswordForm):
    """A new password for somebody else, set by the owner."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["new_password2"].help_text = AGAIN


class RoleFieldsMixin(FieldGroupsMixin, forms.ModelForm):
    """Person and roles, as in the forms of new and existing staff."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "Username"
        self.fields["email"].label = "Email"
        self.fields["username"].help_text = "Letters, digits and @ . + - _ only."
        for name, text in ROLE_HELP.items():
            self.fields[name].help_text = text

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        if not any(self.cleaned_data.get(name) for name in ROLE_FIELDS):
            self.add_error(ROLE_FIELDS[0], NO_ROLE)
        return cleaned


class NewStaffForm(RoleFieldsMixin, BaseUserCreationForm):
    GROUPS = (
        ("Person", PERSON_FIELDS),
        ("Roles", ROLE_FIELDS),
        ("First password", ("password1", "password2")),
    )

    class Meta:
        model = StaffMember
        fields = [*PERSON_FIELDS, *ROLE_FIELDS]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["password2"].help_text = AGAIN


class StaffForm(RoleFieldsMixin):
    GROUPS = (("Person", PERSON_FIELDS), ("Roles", ROLE_FIELDS), ("Log-in", ("is_active",)))

    # A person has no version, so the newest row of the history takes its place.
    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)
    data: QueryDict

    class Meta:
        model = StaffMember
        fields = [*PERSON_FIELDS, *ROLE_FIELDS, "is_active"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.was_active_owner = self.instance.is_active and self.instance.is_owner
        self.newest = self.instance.history.select_related("history_user").order_by("-history_id").first()
        self.fields["seen"].initial = self.newest.pk if self.newest else None
        self.fields["is_active"].label = "May log in"
        self.fields[
            "is_active"
        ].help_text = "Clear this box when someone leaves. Their name stays on their records."

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        self._require_active_owner()
        seen = self.cleaned_data.get("seen")
        if seen is not None and self.newest is not None and seen != self.newest.pk:
            self._report_conflict()
        return cleaned

    def _require_active_owner(self) -> None:
        stays = self.cleaned_data.get("is_owner") and self.cleaned_data.get("is_active")
        others = StaffMember.objects.active_owners().exclude(pk=self.instance.pk)
        if self.was_active_owner and not stays and not others.exists():
            self.add_error("is_active" if self.cleaned_data.get("is_owner") else "is_owner", LAST_OWNER)

    def _report_conflict(self) -> None:
        who = self.newest.history_user or "Somebody"
        self.add_error(
            None,
            f"{who} has changed this person. Your entries are still here. Check them and save again "
            "to keep them.",
        )
        self.data = self.data.copy()
        self.data[self.add_prefix("seen")] = str(self.newest.pk)
