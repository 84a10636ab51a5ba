"""Fixtures that every test may use: people by role, a shop, and a client for each person."""

from collections.abc import Callable

import pytest
from django.test import Client

from tests import factories
from workshop.models import Role, ShopProfile, StaffMember


@pytest.fixture(autouse=True)
def own_files(settings, tmp_path) -> None:
    settings.MEDIA_ROOT = tmp_path / "files"


@pytest.fixture
def shop(db) -> ShopProfile:
    return ShopProfile.current()


@pytest.fixture
def staff(db) -> dict[Role, StaffMember]:
    return {role: factories.make_staff(role) for role in Role}


@pytest.fixture
def login(staff) -> Callable[[Role], Client]:
    """A client that is logged in as the person who holds a role."""

    def as_role(role: Role) -> Client:
        client = Client()
        client.force_login(staff[role], backend="django.contrib.auth.backends.ModelBackend")
        return client

    return as_role
