"""The log: one line for a refused request, a traceback for a real fault."""

import io
import logging

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse
from django.utils.module_loading import import_string

from workshop.models import Role

pytestmark = pytest.mark.django_db


@pytest.fixture
def log() -> io.StringIO:
    """Return what is written by a handler that is set up as the settings say."""
    written = io.StringIO()
    handler = logging.StreamHandler(written)
    for name in settings.LOGGING["handlers"]["console"]["filters"]:
        handler.addFilter(import_string(settings.LOGGING["filters"][name]["()"])())
    logging.getLogger().addHandler(handler)
    yield written
    logging.getLogger().removeHandler(handler)


def test_refusals_are_logged_in_one_line_each(login, log: io.StringIO) -> None:
    client = login(Role.DESK)
    assert client.get(reverse("staff-list")).status_code == 403
    assert client.get("/jobs/1999-001/").status_code == 404
    assert client.get("/customers/?q=%00").status_code == 404
    assert client.get("/", headers={"host": "elsewhere.example"}).status_code == 400
    assert client.post(reverse("customer-list")).status_code == 405
    assert Client(enforce_csrf_checks=True).post(reverse("login")).status_code == 403
    lines = log.getvalue().splitlines()
    assert len(lines) == 6, lines
    assert "Traceback" not in log.getvalue()


def test_fault_is_logged_with_its_traceback(login, log: io.StringIO, monkeypatch) -> None:
    client = login(Role.DESK)
    client.raise_request_exception = False
    monkeypatch.setattr("workshop.customers.views.render", lambda *args: 1 / 0)
    assert client.get(reverse("customer-list")).status_code == 500
    assert "ZeroDivisionError" in log.getvalue()
