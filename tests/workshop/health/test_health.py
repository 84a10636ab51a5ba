import shutil
from types import SimpleNamespace

import pytest
from django.db import DatabaseError
from django.test import Client

from workshop.health import views as health


@pytest.mark.django_db
def test_health_is_ok_when_database_answers(client: Client) -> None:
    response = client.get("/health/")
    assert (response.status_code, response.json()) == (200, {"database": "ok", "disk": "ok"})


def test_health_is_503_when_database_does_not_answer(client: Client, monkeypatch, caplog) -> None:
    class Unreachable:
        def cursor(self) -> None:
            raise DatabaseError("connection refused")

    monkeypatch.setattr(health, "connection", Unreachable())
    response = client.get("/health/")
    assert (response.status_code, response.json()) == (503, {"database": "does not answer", "disk": "ok"})
    assert "connection refused" in caplog.text


@pytest.mark.django_db
@pytest.mark.parametrize(("free_mb", "status", "disk"), [(999, 200, "low"), (10, 503, "full")])
def test_health_warns_of_a_disk_that_fills_up(
    client: Client, monkeypatch, free_mb: int, status: int, disk: str
) -> None:
    monkeypatch.setattr(shutil, "disk_usage", lambda path: SimpleNamespace(free=free_mb * 1_000_000))
    response = client.get("/health/")
    assert (response.status_code, response.json()["disk"]) == (status, disk)


def test_health_refuses_post(client: Client) -> None:
    assert client.post("/health/").status_code == 405
