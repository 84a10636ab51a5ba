import pytest
from django.db import DatabaseError
from django.test import Client

from workshop.health import views as health


@pytest.mark.django_db
def test_it_says_that_the_database_answers(client: Client) -> None:
    answer = client.get("/health/")
    assert (answer.status_code, answer.json()) == (200, {"database": "ok"})


def test_it_says_when_the_database_does_not_answer(client: Client, monkeypatch, caplog) -> None:
    class Unreachable:
        def cursor(self) -> None:
            raise DatabaseError("connection refused")

    monkeypatch.setattr(health, "connection", Unreachable())
    answer = client.get("/health/")
    assert (answer.status_code, answer.json()) == (503, {"database": "does not answer"})
    assert "connection refused" in caplog.text


def test_it_takes_no_post(client: Client) -> None:
    assert client.post("/health/").status_code == 405
