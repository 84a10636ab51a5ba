"""Cases in which scripts and server must agree, run on the scripts."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Page, Route

from jobs.calc.units.numbers import format_number
from jobs.clearances.valve_gaps import verdict_slug
from tests.shared_cases import shared_cases
from tests.test_shared_cases import make_gap, parse_reading

SCRIPTS = Path(__file__).parents[2] / "static" / "js"
NUMBERS = """cases => import("/numbers.js").then(({ formatNumber }) => cases.map(
    ({ value, places, signed = false }) => formatNumber(Number(value), places, { signed })))"""
VERDICTS = """cases => import("/verdicts.js").then(({ judge, readClearance, readLimits }) => cases.map(
    ({ typed, unit = "mm", low, high, target, tolerance = "0.01" }) =>
        judge(readClearance(typed, unit), readLimits({ low, high, target, tolerance }))))"""
CLOSING = """cases => import("/verdicts.js").then(
    ({ closingFromGaps, judge, readClearance, readLimits }) => cases.map(
        ({ unloaded, loaded, low, high, target, tolerance = "0.01" }) => judge(
            closingFromGaps(readClearance(unloaded, "mm"), readClearance(loaded, "mm")),
            readLimits({ low, high, target, tolerance }))))"""
AS_LEFT = """cases => import("/verdicts.js").then(({ describeMismatch, readClearance }) => cases.map(
    ({ typed, unit = "mm", predicted, within = "0.02" }) =>
        describeMismatch(readClearance(typed, unit), { predicted, within }, unit).split(" than ")[0]))"""
AT_LIMIT = """cases => import("/verdicts.js").then(({ readClearance, readLimits, wordOf }) => cases.map(
    ({ typed, low, high, target, tolerance = "0.01" }) =>
        wordOf(readClearance(typed, "mm"), readLimits({ low, high, target, tolerance }))))"""
DISTANCE = """cases => import("/verdicts.js").then(
    ({ describeDistance, readClearance, readLimits }) => cases.map(
        ({ typed, unit = "mm" }) => describeDistance(readClearance(typed, unit),
            readLimits({ low: "0.15", high: "0.22", target: "0.18", tolerance: "0.01" }), unit)))"""
NOT_MEASURED = """none => import("/numbers.js").then(
    ({ formatNumber }) => [none, undefined, NaN].map((value) => formatNumber(value)))"""
WORDS = """() => import("/verdicts.js").then(({ WORDS }) => WORDS)"""


@pytest.fixture
def run_script(page: Page) -> Callable[[str, list[dict[str, Any]]], list[str]]:
    """Return a function that runs a script in a browser, without a server."""

    def serve(route: Route) -> None:
        name = route.request.url.rpartition("/")[2]
        if name:
            route.fulfill(path=SCRIPTS / name)
        else:
            route.fulfill(body="<!doctype html><title>Scripts</title>", content_type="text/html")

    page.route("http://scripts.test/**", serve)
    page.goto("http://scripts.test/")
    return page.evaluate


def assert_equal(cases: list[dict[str, Any]], found: list[str], expected: list[str]) -> None:
    triples = zip(cases, found, expected, strict=True)
    assert [(case, got, wanted) for case, got, wanted in triples if got != wanted] == []


def test_numbers_are_formatted_like_on_the_server(run_script: Any) -> None:
    cases = shared_cases("numbers")["cases"]
    assert_equal(cases, run_script(NUMBERS, cases), [case["text"] for case in cases])


def test_clearance_verdicts_agree_with_the_server(run_script: Any) -> None:
    verdicts = shared_cases("verdicts")
    for script, cases in ((VERDICTS, verdicts["cases"]), (CLOSING, verdicts["closing"])):
        assert_equal(cases, run_script(script, cases), [case["verdict"] for case in cases])


def test_as_left_check_agrees_with_the_server(run_script: Any) -> None:
    cases = shared_cases("verdicts")["as_left"]
    assert_equal(cases, run_script(AS_LEFT, cases), [case["says"] for case in cases])


def test_value_at_a_limit_says_so_as_on_the_server(run_script: Any) -> None:
    cases = shared_cases("verdicts")["at_limit"]
    assert_equal(cases, run_script(AT_LIMIT, cases), [case["word"] for case in cases])


def test_distance_from_range_and_target(run_script: Any) -> None:
    """Range 0.15 to 0.22 mm, target 0.18 mm."""
    expected = {
        "0.12": "0.03 mm below the lower limit",
        "0.24": "0.02 mm above the upper limit",
        "0.10-0.12": "at least 0.03 mm below the lower limit",
        "0.13-0.15": "just below the lower limit",
        "0.23-0.25": "at least 0.01 mm above the upper limit",
        "0.14-0.16": "The blades are on both sides of a limit. Use finer blades.",
        "0.15": "exactly at the lower limit, still in range",
        "0.16": "0.02 mm tighter than the target",
        "0.18": "exactly on target",
        "0.19-0.21": "about 0.02 mm looser than the target",
        "": "",
    }
    cases = [{"typed": typed} for typed in expected]
    assert_equal(cases, run_script(DISTANCE, cases), list(expected.values()))


def test_verdict_texts_agree_with_the_server(run_script: Any) -> None:
    words = run_script(WORDS)
    assert words == {**shared_cases("verdicts")["words"], "unreadable": "not a number"}


def test_missing_number_is_shown_as_a_dash(run_script: Any) -> None:
    assert run_script(NOT_MEASURED, None) == ["–", "–", "–"]


def test_random_numbers_are_formatted_like_on_the_server(run_script: Any) -> None:
    random = np.random.default_rng(20261130)
    sizes = random.uniform(-1, 1, 1500) * 10 ** random.uniform(-6, 12, 1500)
    halves = (random.integers(-40_000, 40_000, 500) + 0.5) / 10 ** random.integers(0, 4, 500)
    numbers = zip([*sizes, *halves], random.integers(0, 5, 2000), random.integers(0, 2, 2000), strict=True)
    cases = [{"value": float(v), "places": int(p), "signed": bool(s)} for v, p, s in numbers]
    found = [format_number(case["value"], case["places"], signed=case["signed"]) for case in cases]
    assert_equal(cases, run_script(NUMBERS, cases), found)


def test_clearances_around_all_limits_agree_with_the_server(run_script: Any) -> None:
    hundredths = [f"0.{number:02}" for number in range(8, 25)]
    typed = [*hundredths, *(f"{goes}-{stops}" for goes in hundredths for stops in hundredths if goes < stops)]
    limits = [
        {"low": "0.10", "high": "0.15"},
        {"low": "0.10", "high": "0.20", "target": "0.15"},
        {"low": "0.13", "high": "0.22", "target": "0.13", "tolerance": "0.015"},
    ]
    cases = [{"typed": text, **limit} for text in typed for limit in limits]
    expected = [verdict_slug(make_gap(case).judge(parse_reading(case["typed"]))) for case in cases]  # type: ignore[arg-type]
    assert len(set(expected)) == 6
    assert_equal(cases, run_script(VERDICTS, cases), expected)
