"""Gears and tyre sizes."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.calc.chassis.gearing import (
    TyreSize,
    engine_speed_rpm,
    final_ratio,
    overall_ratio,
    parse_tyre_size,
    road_speed_kmh,
    symbol_speed_kmh,
    tyre_allows_speed,
)


@pytest.mark.parametrize(
    ("text", "width_mm", "aspect_pct", "rim_in", "symbol"),
    [
        ("190/50ZR17", 190, 50, 17, "Z"),
        ("190/50 ZR 17 M/C (73W)", 190, 50, 17, "W"),
        ("120/70zr17 58w", 120, 70, 17, "W"),
        ("130/80-18 65H", 130, 80, 18, "H"),
        ("150/70 B 18", 150, 70, 18, None),
        ("180/55 VB17", 180, 55, 17, "V"),
        ("100/90 - 19 M/C 57S TL", 100, 90, 19, "S"),
    ],
)
def test_tyre_size_is_parsed_as_written_on_the_tyre(
    text: str, width_mm: float, aspect_pct: float, rim_in: float, symbol: str | None
) -> None:
    size = parse_tyre_size(text)
    assert (size.width_mm, size.aspect_pct, size.rim_in) == (width_mm, aspect_pct, rim_in)
    assert size.speed_symbol == symbol


@pytest.mark.parametrize("text", ["", "3.50-18", "190", "190/50", "wide", "190/50ZR170"])
def test_other_text_than_a_metric_size_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="not a metric tyre size"):
        parse_tyre_size(text)


def test_tyre_without_width_is_refused() -> None:
    with pytest.raises(ValueError, match="width in the tyre size"):
        TyreSize(0, 50, 17)


def test_rolling_circumference_is_below_the_drawn_one() -> None:
    size = TyreSize(190, 50, 17)
    assert size.rolling_circumference_mm < math.pi * size.diameter_mm
    assert size.diameter_mm == pytest.approx(17 * 25.4 + 2 * 95)


def test_speed_symbols_rise_in_the_published_order() -> None:
    order = "BCDEFGJKLMNPQRSTUHVWY"  # UN R30 and R75: H between U and V
    speeds = [symbol_speed_kmh(symbol) for symbol in order]
    assert speeds == sorted(set(speeds))


@pytest.mark.parametrize(
    ("symbol", "speed_kmh", "holds"),
    [
        ("H", 210, True),
        ("H", 210.1, False),
        ("h", 9, True),
        ("(W)", 270, True),
        ("Z", 240, True),
        ("Z", 241, False),
    ],
)
def test_tyre_allows_speeds_up_to_its_symbol(symbol: str, speed_kmh: float, holds: bool) -> None:
    assert tyre_allows_speed(symbol, speed_kmh) == holds


@pytest.mark.parametrize("symbol", ["I", "", "O", "9"])
def test_unknown_symbol_is_refused(symbol: str) -> None:
    with pytest.raises(ValueError, match="not a tyre speed symbol"):
        tyre_allows_speed(symbol, 100)


def test_z_alone_has_no_upper_end() -> None:
    with pytest.raises(ValueError, match="Ask the tyre manufacturer"):
        symbol_speed_kmh("Z")


def test_road_speed_agrees_with_hand_calculation() -> None:
    # 6,000 1/min through 1.5 · 1.0 · 2.0 = 3 is 2,000 1/min at the wheel; 2 m each: 4,000 m/min = 240 km/h
    ratio = overall_ratio(1.5, 1.0, final_ratio(20, 40))
    assert road_speed_kmh(6000.0, ratio, 1000) == pytest.approx(120)
    assert road_speed_kmh(6000.0, ratio, 2000) == pytest.approx(240)


def test_engine_speed_is_proportional_to_rear_teeth() -> None:
    revs = [engine_speed_rpm(150.0, overall_ratio(1.7, 1.1, final_ratio(16, z)), 1950) for z in (42, 43)]
    assert revs[1] / revs[0] == pytest.approx(43 / 42)


@given(st.floats(500, 15_000), st.floats(2, 15), st.floats(1500, 2300))
def test_engine_speed_inverts_road_speed(rpm: float, ratio: float, circumference_mm: float) -> None:
    speed = road_speed_kmh(rpm, ratio, circumference_mm)
    assert engine_speed_rpm(speed, ratio, circumference_mm) == pytest.approx(rpm)


def test_channel_keeps_its_nan() -> None:
    speed = road_speed_kmh(np.array([3000.0, np.nan]), 6.0, 2000)
    assert speed[0] == pytest.approx(60)
    assert math.isnan(speed[1])


@pytest.mark.parametrize(
    ("refused", "sentence"),
    [
        (lambda: overall_ratio(0, 1, 2), "primary ratio"),
        (lambda: overall_ratio(1, 1, math.nan), "final ratio"),
        (lambda: final_ratio(0, 40), "in front"),
        (lambda: road_speed_kmh(5000.0, 5, 0), "circumference"),
        (lambda: engine_speed_rpm(100.0, -1, 2000), "overall ratio"),
    ],
)
def test_impossible_gearing_is_refused(refused: object, sentence: str) -> None:
    assert callable(refused)
    with pytest.raises(ValueError, match=sentence):
        refused()
