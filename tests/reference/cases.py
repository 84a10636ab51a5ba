"""Published and computed check values, and the comparison of a result with one of them.

Every case names its source. ``CHECK_VALUES`` may name another JSON file of the same shape.
"""

import json
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

OWN_COPY = Path(__file__).with_name("check-values.json")

Case = dict[str, Any]


def load_cases() -> list[Case]:
    path = Path(os.environ.get("CHECK_VALUES") or OWN_COPY)
    cases: list[Case] = json.loads(path.read_text(encoding="utf-8"))
    return cases


def topic_params(*topics: int) -> list[Any]:
    """Return a test parameter per case of some topics, with the case's id."""
    return [
        pytest.param(case, id=case["id"]) for case in load_cases() if int(case["topic"].split()[0]) in topics
    ]


def _pairs(expected: Any, actual: Any, where: str) -> Iterator[tuple[str, Any, Any]]:
    if isinstance(expected, dict):
        for key, value in expected.items():
            assert key in actual, f"{where}: no result for {key!r}"
            yield from _pairs(value, actual[key], f"{where}.{key}")
    elif isinstance(expected, list):
        assert len(expected) == len(actual), f"{where}: {len(actual)} results for {len(expected)}"
        for i, value in enumerate(expected):
            yield from _pairs(value, actual[i], f"{where}[{i}]")
    else:
        yield where, expected, actual


def assert_case(case: Case, actual: Any) -> None:
    """Compare a result with a case's expected value, within the case's tolerance.

    A relative tolerance is taken against the larger magnitude; booleans, strings and
    'exact' numbers must be equal; an expected ``null`` accepts any result.
    """
    tolerance, kind = case["tolerance"], case["tolerance_kind"]
    for where, expected, result in _pairs(case["expected"], actual, case["id"]):
        message = f"{where}: {result!r} for {expected!r} (source: {case['source']})"
        if expected is None:
            continue
        if isinstance(expected, (bool, str)):
            assert result == expected, message
        elif kind == "exact":
            assert float(result) == float(expected), message
        else:
            scale = max(abs(float(expected)), abs(float(result))) if kind == "rel" else 1.0
            assert abs(float(result) - float(expected)) <= tolerance * scale, message


def find_handler(case: Case, handlers: dict[str, Callable[[Case], Any]]) -> Callable[[Case], Any]:
    """Return the handler with the longest prefix that the case's id starts with.

    A case that nobody handles fails: it is not passed over.
    """
    fitting = [prefix for prefix in handlers if case["id"].startswith(prefix)]
    assert fitting, f"no check is written for case {case['id']}"
    return handlers[max(fitting, key=len)]
