"""Kind, gear and grip of a run, proposed from simulated channels and from names of files."""

import json
from pathlib import Path

import numpy as np
import pytest

from jobs.calc.run_file import FileLayoutSpec, read, sniff
from jobs.calc.run_file.proposals import Proposal, measured_ratio, propose, propose_name

FIXTURES = Path(__file__).resolve().parents[3] / "fixtures" / "runs"
TIME_S = np.arange(0, 8, 0.02)
RISING = 3000 + 1000 * TIME_S
NOISE = np.random.default_rng(2).normal(0, 1, TIME_S.size)


def entries(kind: str, count: int) -> list[dict]:
    runs = json.loads((FIXTURES / "manifest.json").read_text())["runs"]
    return [entry for entry in runs if entry["kind"] == kind and "_100" not in entry["file"]][:count]


@pytest.mark.parametrize("entry", entries("sweep", 3) + entries("held", 6) + entries("idle", 2))
def test_kind_of_a_simulated_run_is_found_by_its_channels_alone(entry):
    data = (FIXTURES / entry["file"]).read_bytes()
    layout = sniff(data).layout.with_meanings(
        {column["column"]: (column["channel"], column["unit"]) for column in entry["columns"]}
    )
    assert isinstance(layout, FileLayoutSpec)
    found = propose(read(data, layout).channels, "export.csv")
    assert found.kind == entry["kind"]
    if entry["kind"] == "held":
        assert found.grip_pct == pytest.approx(int(entry["file"][-7:-4]), abs=1)


@pytest.mark.parametrize(
    ("name", "kind", "gear", "grip"),
    [
        ("tern held 40.csv", "held", None, 40),
        ("tern_after_held_040.csv", "held", None, 40),
        ("Leerlauf warm.txt", "idle", None, None),
        ("coast-down 2.csv", "coast", None, None),
        ("Ausrollen.csv", "coast", None, None),
        ("sweep gear 5.csv", "sweep", 5, None),
        ("Volllast 4.Gang.txt", "sweep", 4, None),
        ("pull_3rd_gear.csv", "sweep", 3, None),
        ("2026-11-25 12-03.csv", "", None, None),
        ("run 12.csv", "", None, None),
    ],
)
def test_words_of_a_file_name_are_understood(name, kind, gear, grip):
    found = propose({}, name)
    assert (found.kind, found.gear, found.grip_pct) == (kind, gear, grip)


def test_coast_down_is_told_from_a_sweep_stored_last_first():
    falling = RISING[::-1].copy()
    coast = {"time_s": TIME_S, "roller_speed_rpm": falling / 10}
    assert propose(coast, "a.csv").kind == "coast"
    assert propose({**coast, "grip_pct": np.full(TIME_S.size, 0.0)}, "a.csv").kind == "coast"
    backwards = {
        "engine_speed_rpm": falling,
        "power_kw": falling / 200,
        "grip_pct": np.full(TIME_S.size, 100.0),
    }
    assert propose(backwards, "a.csv").kind == "sweep"


def test_gear_is_found_by_its_channel_or_by_the_ratio():
    ratios = {3: 95.0, 4: 78.0, 5: 66.0}
    road = {"engine_speed_rpm": RISING, "road_speed_kmh": RISING / 77.0 * (1 + NOISE / 500)}
    assert propose(road, "a.csv", ratios).gear == 4
    assert measured_ratio(road) == pytest.approx(77.0, rel=1e-3)
    assert propose({**road, "gear": np.full(TIME_S.size, 5.0)}, "a.csv", ratios).gear == 5
    shifted = {**road, "gear": np.where(TIME_S < 4, 3.0, 4.0)}
    assert propose(shifted, "a.csv", ratios).gear is None
    assert propose(road, "a.csv").gear is None


@pytest.mark.parametrize(
    ("name", "proposal", "proposed"),
    [
        ("tern_after_held_040_g4.csv", Proposal("held", 4, 40.0), "Held, 40 % grip, gear 4: tern after"),
        ("Volllast 4.Gang neue Tabelle.txt", Proposal("sweep", 4), "Sweep, gear 4: neue Tabelle"),
        ("pull_3rd_gear.csv", Proposal("sweep", 3), "Sweep, gear 3"),
        ("Ausrollen.csv", Proposal("coast"), "Coast-down"),
        ("run 12.csv", Proposal(), "run 12"),
    ],
)
def test_name_says_kind_grip_and_gear_once(name, proposal, proposed):
    assert propose_name(proposal, name) == proposed
