"""The demo's run files: the same bytes every time, and read back to what went into them."""

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from fixtures import simulator
from fixtures.bikes import BIKES, InventedBike, true_curve, true_lambda
from fixtures.simulator import HELD_GRIP_PCT, MANIFEST, RUNS, SENSOR_DELAY_S, write_runs
from jobs.calc.dyno.air import Air, correct
from jobs.calc.dyno.curves import power_curve
from jobs.calc.mixture.grid import build_mixture_grid
from jobs.calc.mixture.steady import RunChannels, collect_steady_samples
from jobs.calc.statistics import summarise
from jobs.calc.throttle.hold_drift import DriftVerdict, estimate_hold_drift
from jobs.calc.throttle.tables import ThrottleMap
from jobs.calc.units.factors import convert
from tests.reference.closed_forms import welch

Array = npt.NDArray[np.float64]
SI_UNITS = {"engine_speed_rpm": "rpm", "power_kw": "kw"}


def manifest() -> dict[str, Any]:
    stored: dict[str, Any] = json.loads((RUNS / MANIFEST).read_text(encoding="utf-8"))
    return stored


def entries(bike: str, when: str, kind: str) -> list[dict[str, Any]]:
    return [r for r in manifest()["runs"] if (r["bike"], r["when"], r["kind"]) == (bike, when, kind)]


def seconds(clock: str) -> float:
    hours, minutes, rest = clock.split(":")
    return 3600 * int(hours) + 60 * int(minutes) + float(rest)


def read(entry: dict[str, Any]) -> dict[str, Array]:
    """Read a file by its manifest entry, with the standard library's reader only."""
    layout = manifest()["layouts"][entry["layout"]]
    text = (RUNS / entry["file"]).read_bytes().decode(layout["encoding"]).lstrip("\ufeff")
    skipped = layout["preamble_lines"] + 1 + layout["unit_row"]
    rows = list(csv.reader(text.splitlines()[skipped:], delimiter=layout["delimiter"]))
    channels = {}
    for column in entry["columns"]:
        cells = [row[column["column"]].replace(layout["decimal_mark"], ".") for row in rows]
        if column["unit"] == "clock":
            channels[column["channel"]] = np.array([seconds(cell) for cell in cells])
            continue
        figures = np.array(cells, dtype=float)
        unit = SI_UNITS.get(column["channel"], column["unit"])
        channels[column["channel"]] = convert(figures, column["unit"], unit)
    return channels


def air_of(entry: dict[str, Any]) -> Air:
    air = entry["air"]
    return Air(air["temperature_c"], air["pressure_kpa"], humidity_pct=air["humidity_pct"])


def corrected(bike: str, when: str, grid: Array) -> Array:
    """Power of each sweep on a grid, corrected by the air of its day, (runs, grid)."""
    curves = []
    for entry in entries(bike, when, "sweep"):
        run = read(entry)
        wide_open = run["grip_pct"] > 98
        curve = power_curve(run["engine_speed_rpm"][wide_open], run["power_kw"][wide_open])
        factor = correct("sae_j1349", air_of(entry)).factor
        curves.append(np.interp(grid, curve.engine_speed_rpm, curve.power_kw) * factor)
    return np.array(curves)


def inner_grid(bike: InventedBike) -> Array:
    return np.arange(bike.lowest_rpm + 200, bike.highest_rpm - 150, 100.0)


def test_run_files_are_reproduced_byte_for_byte(tmp_path: Path) -> None:
    written = write_runs(tmp_path)
    assert sorted(p.name for p in written) == sorted(p.name for p in RUNS.iterdir() if p.name[0] != ".")
    for path in written:
        assert path.read_bytes() == (RUNS / path.name).read_bytes(), path.name


def test_run_files_stay_small() -> None:
    sizes = [path.stat().st_size for path in RUNS.iterdir()]
    assert max(sizes) < 150_000
    assert sum(sizes) < 3_000_000


def test_manifest_names_every_file_and_column() -> None:
    runs = manifest()["runs"]
    assert {r["file"] for r in runs} == {p.name for p in RUNS.iterdir() if p.suffix in (".csv", ".txt")}
    for run in runs:
        assert set(read(run)) >= {"time_s", "engine_speed_rpm", "power_kw", "lambda", "grip_pct"}


@pytest.mark.parametrize("when", ["before", "after"])
@pytest.mark.parametrize("bike", BIKES)
def test_corrected_sweeps_match_true_curve(bike: str, when: simulator.State) -> None:
    grid = inner_grid(BIKES[bike])
    truth = true_curve(bike, when, grid)[1]
    # three runs with 0.5 % from run to run: the mean lies within 0.5·√(1/3)·3 = 0.87 %
    np.testing.assert_allclose(corrected(bike, when, grid).mean(axis=0), truth, rtol=0.0087)


@pytest.mark.parametrize(
    ("bike", "more", "no_difference"),
    [
        ("marl", (), ((2700, 9000),)),
        ("tern", ((5000, 8000),), ((9300, 11300),)),
        ("lodra", ((6800, 9800),), ((3200, 4800),)),
    ],
)
def test_gain_is_shown_only_where_it_exists(
    bike: str, more: tuple[tuple[int, int], ...], no_difference: tuple[tuple[int, int], ...]
) -> None:
    grid = inner_grid(BIKES[bike])
    before, after = (corrected(bike, when, grid) for when in ("before", "after"))
    for low, high in more:
        inside = (grid >= low) & (grid <= high)
        gain = welch(summarise(after[:, inside].mean(axis=1)), summarise(before[:, inside].mean(axis=1)))
        assert gain.ci_low > 0
        assert 0.02 < gain.difference / before[:, inside].mean() < 0.05
    for low, high in no_difference:
        inside = (grid >= low) & (grid <= high)
        gain = welch(summarise(after[:, inside].mean(axis=1)), summarise(before[:, inside].mean(axis=1)))
        assert gain.ci_low <= 0 <= gain.ci_high


@pytest.mark.parametrize("when", ["before", "after"])
@pytest.mark.parametrize("bike", ["tern", "lodra"])
def test_held_runs_match_true_mixture(bike: str, when: simulator.State) -> None:
    runs = []
    for entry in entries(bike, when, "held"):
        run = read(entry)
        names = ("time_s", "engine_speed_rpm", "grip_pct", "grip_pct", "lambda")
        runs.append(RunChannels(*(run[name] for name in names)))
    samples = collect_steady_samples(runs, 1000 * SENSOR_DELAY_S)
    speed_axis = np.arange(BIKES[bike].lowest_rpm, BIKES[bike].highest_rpm, 500.0)
    grid = build_mixture_grid(
        samples.engine_speed_rpm,
        samples.load_pct,
        samples.lambda_,
        speed_axis,
        HELD_GRIP_PCT,
        hold=samples.hold,
    )
    truth = true_lambda(BIKES[bike], when, speed_axis[None, :], grid.load_axis[:, None])
    off = np.abs(grid.mean - truth)[grid.visited]
    assert grid.visited.mean() > 0.8
    assert np.median(off) < 0.004
    assert off.max() < 0.015


@pytest.mark.parametrize(
    ("bike", "when", "verdict"),
    [
        ("tern", "before", DriftVerdict.HOLDS),
        ("tern", "after", DriftVerdict.HOLDS),
        ("lodra", "before", DriftVerdict.OPENS),
        ("lodra", "after", DriftVerdict.HOLDS),
    ],
)
def test_plate_opens_by_itself_on_one_bike_only_before(bike: str, when: str, verdict: DriftVerdict) -> None:
    for entry in entries(bike, when, "held"):
        run = read(entry)
        found = estimate_hold_drift(run["time_s"], run["grip_pct"], run["plate_pct"], run["engine_speed_rpm"])
        assert found.verdict is (verdict if entry["grip_pct"] < 100 else DriftVerdict.NOT_ENOUGH)


def test_idle_is_steadier_after_work() -> None:
    before, after = (
        read(entries("marl", when, "idle")[0])["engine_speed_rpm"] for when in ("before", "after")
    )
    assert after.std() < before.std() / 2
    assert abs(after.mean() - BIKES["marl"].idle_rpm) < abs(before.mean() - BIKES["marl"].idle_rpm)


def test_throttle_tables_of_manifest_are_parsed() -> None:
    for entry in manifest()["throttle_tables"]:
        assert ThrottleMap.from_text(entry["text"]).find_problems() == ()


def test_true_values_match_description_of_bikes() -> None:
    peaks = {}
    for key in BIKES:
        speed, power = true_curve(key, "before")
        peaks[key] = (round(float(power.max())), round(float(speed[power.argmax()]), -3))
    assert peaks == {"marl": (30, 8000), "tern": (68, 11000), "lodra": (88, 9000)}
    assert np.isnan(true_curve("marl", "before", [1000.0])[1]).all()
