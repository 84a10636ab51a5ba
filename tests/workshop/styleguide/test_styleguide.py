"""The page of components: for developers only, and each icon that a template names exists."""

import re
from pathlib import Path

import pytest
from django.test import Client
from django.urls import NoReverseMatch, reverse

from tests import factories
from workshop.models import Role
from workshop.styleguide.views import icon_names

TEMPLATES = Path(__file__).resolve().parents[3] / "templates"


def test_site_without_debug_has_no_styleguide() -> None:
    with pytest.raises(NoReverseMatch):
        reverse("styleguide")


@pytest.mark.django_db
@pytest.mark.urls("tests.workshop.styleguide.site_urls")
def test_styleguide_shows_every_icon(client: Client) -> None:
    client.force_login(factories.make_staff(Role.OWNER))
    text = client.get("/styleguide/").content.decode()
    assert [name for name in icon_names() if f"<code>{name}</code>" not in text] == []


def test_every_icon_of_a_template_exists() -> None:
    used = {
        (name, path.relative_to(TEMPLATES).as_posix())
        for path in TEMPLATES.rglob("*.html")
        for name in re.findall(r'{%\s*icon "([^"]+)"', path.read_text(encoding="utf-8"))
    }
    known = set(icon_names())
    assert {(name, path) for name, path in used if name not in known} == set()
