"""Whether work that takes long, such as writing a file, is done within a transaction."""

from typing import Any

import pytest
from django.db import connection


def watch_transactions(monkeypatch: pytest.MonkeyPatch, owner: Any, name: str) -> list[bool]:
    """Return a list that gets, for each call of a function, whether a transaction was open."""
    function, within = getattr(owner, name), []

    def watched(*args: Any, **kwargs: Any) -> Any:
        within.append(connection.in_atomic_block)
        return function(*args, **kwargs)

    monkeypatch.setattr(owner, name, watched)
    return within
