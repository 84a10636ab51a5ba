"""How staff are recognised."""

from typing import Any

from django.contrib.auth.backends import ModelBackend

from workshop.models import StaffMember


class StaffBackend(ModelBackend):
    """Django's own backend, except that the login form tells a closed login from a wrong password.

    The form needs no check of its own for that, so a closed login takes as long as any other.
    """

    def user_can_authenticate(self, user: Any) -> bool:
        """Return True: the form refuses a closed login whose password is right."""
        return True

    def get_user(self, user_id: Any) -> StaffMember | None:
        """Return the person of a session, or None if the login has been closed since."""
        person = super().get_user(user_id)
        return person if isinstance(person, StaffMember) and person.is_active else None
