import pytest
from django.db import DatabaseError
from django.test import Client

from workshop.health import views as health


@pytest.mark.django_db
def test_health_is_ok_when_database_answers(client: Client) -> None:
    response = client.get("/health/")
    assert (response.status_code, response.json()) == (200, {"database": "ok"})


def test_health_is_503_when_database_does_not_answer(client: Client, monkeypatch, caplog) -> None:
    class Unreachable:
        def cursor(self) -> None:
            raise DatabaseError("connection refused")

    monkeypatch.setattr(health, "connection", Unreachable())
    response = client.get("/health/")
    assert (response.status_code, response.json()) == (503, {"database": "does not answer"})
    assert "connection refused" in caplog.text


def test_health_refuses_post(client: Client) -> None:
    assert client.post("/health/").status_code == 405
