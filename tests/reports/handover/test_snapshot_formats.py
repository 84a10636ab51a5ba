"""Stored snapshots of every format are read for ever, and lose nothing on the way."""

import json
from pathlib import Path
from typing import Any

import pytest
from django.template.loader import render_to_string

from jobs.clearances.facts import CLEARANCES
from jobs.comparisons.facts import COMPARISONS
from reports.drawing.pictures import torque_picture
from reports.handover.snapshot.codec import SNAPSHOTS, from_json, to_json

# Snapshots as stored when each format was in use.
STORED = [
    json.loads(path.read_text(encoding="utf-8"))
    for path in sorted(Path(__file__).with_name("snapshots").glob("format-*.json"))
]
# What an older sheet lacks is empty when it is read.
EMPTY = (None, "", False, [])


def differences(stored: Any, made: Any, path: str = "") -> list[str]:
    """Where the two differ, but for the keys that older sheets lack."""
    if isinstance(stored, dict) and isinstance(made, dict):
        keys = {*stored, *(key for key, value in made.items() if key in stored or value not in EMPTY)}
        return [
            found
            for key in sorted(keys)
            for found in (
                differences(stored[key], made[key], f"{path}.{key}")
                if key in stored and key in made
                else [f"{path}.{key}"]
            )
        ]
    if isinstance(stored, list) and isinstance(made, list) and len(stored) == len(made):
        pairs = enumerate(zip(stored, made, strict=True))
        return [found for place, pair in pairs for found in differences(*pair, f"{path}[{place}]")]
    return [] if json.dumps(stored) == json.dumps(made) else [path]


def test_every_format_has_a_stored_example() -> None:
    assert {stored["format"] for stored in STORED} == set(SNAPSHOTS)


@pytest.mark.parametrize("stored", STORED)
def test_stored_snapshot_is_the_same_after_reading_and_writing(stored: dict[str, Any]) -> None:
    assert differences(stored, to_json(from_json(stored))) == []


@pytest.mark.parametrize("stored", STORED)
def test_unknown_keys_are_ignored(stored: dict[str, Any]) -> None:
    newer = {**stored, "weather": "rain", "shop": {**stored["shop"], "motto": "slowly"}}
    assert from_json(newer) == from_json(stored)


def test_snapshot_of_unknown_format_is_refused() -> None:
    with pytest.raises(KeyError):
        from_json({**STORED[0], "format": 999})


def test_missing_keys_of_older_sheets_have_defaults() -> None:
    """Without figures of the engine, a sheet held the readings alone."""
    whole = next(stored for stored in STORED if stored["clearances"])
    kept = ("sets", "plans", "rows", "summary", "ranges", "earlier")
    older = {**whole, "clearances": {key: whole["clearances"][key] for key in kept}}
    clearances = from_json(older).get(CLEARANCES)
    assert clearances is not None
    assert (clearances.has_found, clearances.out, clearances.courses) == (False, [], [])


def test_older_sheet_prints_its_comparisons_as_it_was_issued() -> None:
    """Its intervals were at each engine speed by itself, and nothing was said of what they contain."""
    whole = from_json(next(stored for stored in STORED if stored["comparisons"]))
    facts = whole.get(COMPARISONS)
    pictures: list[list[Any]] = [[] for _ in facts]
    context = {
        "facts": facts,
        "u": whole.shop.units,
        "comparison_pictures": pictures,
        "drive_pictures": pictures,
    }
    printed = render_to_string("jobs/comparisons/_sheet.html", context)
    assert "does not prove they are equal: a difference may be hidden by the scatter of the runs." in printed
    assert "Each interval covers" not in printed
    assert "Peak power after, by itself" not in printed
    compared = next(comparison for comparison in facts if comparison.curves)
    picture = torque_picture(compared, compared.curves, 0, whole.shop.units, 60)
    assert "95 % interval" in picture.caption
    assert "band" not in picture.caption
