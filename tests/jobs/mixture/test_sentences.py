"""Sentences about a whole mixture study, counted by hand in a grid of six cells."""

from typing import Any

import pytest

from jobs.mixture.tables import correction_sentence, fuel_table_sentence, load_sentence
from jobs.models import MixtureStudy

# Rows are 20, 60 and 100 % grip, columns 4000 and 6000 1/min: measured well, filled in, limited; then
# visited too little, not visited, measured well.
RESULT: dict[str, Any] = {
    "n": [[40, 0], [60, 5], [0, 70]],
    "correction": [[1.02, 1.03], [1.15, None], [None, 0.98]],
    "filled": [[False, True], [False, False], [False, False]],
    "limited": [[False, False], [True, False], [False, False]],
    "off": [[0.02, None], [0.2, 0.01], [None, 0.01]],
    "warnings": [],
}


def study(**values: Any) -> MixtureStudy:
    given = {"rpm_axis": [4000, 6000], "load_axis": [20, 60, 100], "load_channel": "grip_pct"}
    used = {"high_load_pct": 80.0, "lean_share": 0.03}
    return MixtureStudy(**{**given, "result": RESULT, "settings_used": used, **values})


def test_correction_sentence_counts_cells_by_outcome() -> None:
    assert correction_sentence(study()) == (
        "A correction of the fuel is given for 4 of 6 cells; 1 of them filled in between two measured "
        "neighbours, not measured; 1 limited in one pass; 1 visited too little for one; 1 not visited."
    )


def test_sentences_are_empty_without_a_result() -> None:
    empty = study(result=None)
    assert (correction_sentence(empty), load_sentence(empty), fuel_table_sentence(empty)) == ("", "", "")


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({}, "1 cell was measured at 80 % grip and more; none is leaner than its target by 3 % or more."),
        (
            {"load_axis": [10, 20, 30]},
            "Nothing was measured at 80 % grip and more: whether the engine runs lean there is not known.",
        ),
        ({"result": {**RESULT, "warnings": [{"code": "lean-at-high-load", "sentence": "Lean."}]}}, ""),
    ],
)
def test_load_sentence_is_given_unless_a_warning_covers_it(values: dict[str, Any], sentence: str) -> None:
    assert load_sentence(study(**values)) == sentence


def test_fuel_table_sentence_counts_changed_covered_and_limited_cells() -> None:
    after = {"text": "", "covered": 3, "changed": [[True, False], [True, False]], "step": 0.5, "limited": 1}
    assert fuel_table_sentence(study(fuel_table_after=after)) == (
        "2 of the 4 cells of the fuel table changed: 3 are covered by what was measured, rounded to the "
        "table's own step of 0.5; all others are as they came. 1 lean on a correction that was limited."
    )
