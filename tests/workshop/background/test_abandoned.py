"""Abandoned tasks: every registered step looks at them, and the server process keeps looking."""

from datetime import UTC, datetime

import pytest

from workshop import wsgi
from workshop.background import abandoned


class EndAfter:
    """A clock that lets the thread look some times and then ends it."""

    def __init__(self, times: int) -> None:
        self.times = times

    def wait(self, seconds: float) -> bool:
        assert seconds == 60  # as README.md says
        self.times -= 1
        return self.times < 0


@pytest.fixture
def looked_at(monkeypatch) -> list[datetime]:
    times: list[datetime] = []
    monkeypatch.setattr(abandoned, "take_up_steps", [times.append])
    return times


def test_every_step_gets_the_time(looked_at) -> None:
    now = datetime(2026, 5, 4, 12, tzinfo=UTC)
    abandoned.take_up_abandoned(now)
    assert looked_at == [now]


def test_keeper_looks_again_after_a_fault(looked_at, monkeypatch, caplog) -> None:
    def fail(now: datetime) -> None:
        raise ValueError("odd")

    monkeypatch.setattr(abandoned, "close_old_connections", lambda: None)
    abandoned.take_up_steps.append(fail)
    keeper = abandoned.Keeper()
    keeper._stop = EndAfter(2)
    keeper.run()
    assert len(looked_at) == 2
    assert "could not be picked up" in caplog.text


def test_first_request_starts_one_thread(monkeypatch) -> None:
    started = []
    monkeypatch.setattr(wsgi, "_site", lambda environ, start_response: [b"answer"])
    monkeypatch.setattr(wsgi, "keeper", abandoned.Keeper())
    monkeypatch.setattr(wsgi.keeper, "run", lambda: started.append(True))
    for _ in range(2):
        assert wsgi.application({}, None) == [b"answer"]
    wsgi.keeper._thread.join()
    assert started == [True]
