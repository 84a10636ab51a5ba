"""Humid air against PsychroLib (ASHRAE 2017), and what a correction admits about itself."""

import math

import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.calc.dyno.air import (
    STANDARDS,
    Air,
    alpha2,
    correct,
    question_pressure,
    transmission_efficiency,
    uncorrect,
)
from jobs.calc.dyno.atmosphere import (
    dew_point_c,
    isa_pressure_kpa,
    pressure_altitude_m,
    saturation_pressure_kpa,
    station_pressure_kpa,
    vapour_pressure_from_humidity_kpa,
    vapour_pressure_from_wet_bulb_kpa,
    wmo_saturation_pressure_kpa,
)

psychrolib.SetUnitSystem(psychrolib.SI)

WEATHER = [(t, rh, p) for t in (2.0, 12.0, 25.0, 33.0, 44.0) for rh in (8, 45, 97) for p in (80.0, 101.3)]


def wet_bulb_c(temperature_c: float, humidity_pct: float, pressure_kpa: float) -> float:
    wet: float = psychrolib.GetTWetBulbFromRelHum(temperature_c, humidity_pct / 100, pressure_kpa * 1000)
    return wet


# Below freezing PsychroLib goes over to ice; a barometer's dew point is over water throughout.
ABOVE_FREEZING_DEW = [w for w in WEATHER if psychrolib.GetTDewPointFromRelHum(w[0], w[1] / 100) > 0.01]
ABOVE_FREEZING_WET = [w for w in WEATHER if wet_bulb_c(*w) > 0]
BELOW_FREEZING_WET = [w for w in WEATHER if wet_bulb_c(*w) <= 0]


@pytest.mark.parametrize("temperature_c", [0.5, 5.0, 20.0, 35.0, 60.0, 95.0])
def test_saturation_agrees_with_psychrolib(temperature_c: float) -> None:
    theirs = psychrolib.GetSatVapPres(temperature_c) / 1000
    assert saturation_pressure_kpa(temperature_c) == pytest.approx(theirs, rel=5e-4)


@pytest.mark.parametrize(("temperature_c", "humidity_pct", "pressure_kpa"), WEATHER)
def test_damp_air_agrees_with_psychrolib(
    temperature_c: float, humidity_pct: float, pressure_kpa: float
) -> None:
    air = Air(temperature_c, pressure_kpa, humidity_pct=humidity_pct)
    share, pascal = humidity_pct / 100, pressure_kpa * 1000
    ratio = psychrolib.GetHumRatioFromRelHum(temperature_c, share, pascal)
    assert air.humidity_ratio == pytest.approx(ratio, rel=1e-3)
    assert air.density_kg_m3 == pytest.approx(
        psychrolib.GetMoistAirDensity(temperature_c, ratio, pascal), rel=1e-4
    )
    assert air.enthalpy_kj_per_kg * 1000 == pytest.approx(
        psychrolib.GetMoistAirEnthalpy(temperature_c, ratio), rel=1e-3
    )


@pytest.mark.parametrize(("temperature_c", "humidity_pct", "pressure_kpa"), ABOVE_FREEZING_WET)
def test_wet_bulb_of_psychrolib_gives_the_vapour_back(
    temperature_c: float, humidity_pct: float, pressure_kpa: float
) -> None:
    wet = wet_bulb_c(temperature_c, humidity_pct, pressure_kpa)
    # PsychroLib iterates its wet bulb to 0.001 °C, which is about 0.07 Pa
    expected = vapour_pressure_from_humidity_kpa(temperature_c, float(humidity_pct))
    answer = vapour_pressure_from_wet_bulb_kpa(temperature_c, wet, pressure_kpa)
    assert answer == pytest.approx(expected, rel=1e-3, abs=2e-4)


@pytest.mark.parametrize(("temperature_c", "humidity_pct", "pressure_kpa"), BELOW_FREEZING_WET)
def test_frozen_wet_bulb_is_refused(temperature_c: float, humidity_pct: float, pressure_kpa: float) -> None:
    with pytest.raises(ValueError, match="carries ice"):
        Air(temperature_c, pressure_kpa, wet_bulb_c=wet_bulb_c(temperature_c, humidity_pct, pressure_kpa))


@pytest.mark.parametrize(("temperature_c", "humidity_pct", "pressure_kpa"), ABOVE_FREEZING_DEW)
def test_dew_point_agrees_with_psychrolib(
    temperature_c: float, humidity_pct: float, pressure_kpa: float
) -> None:
    air = Air(temperature_c, pressure_kpa, humidity_pct=humidity_pct)
    theirs = psychrolib.GetTDewPointFromRelHum(temperature_c, humidity_pct / 100)
    assert dew_point_c(air.vapour_pressure_kpa) == pytest.approx(theirs, abs=0.02)


@given(st.floats(min_value=-44.9, max_value=373.0))
def test_dew_point_undoes_saturation(temperature_c: float) -> None:
    assert dew_point_c(saturation_pressure_kpa(temperature_c)) == pytest.approx(temperature_c, abs=1e-3)


@given(st.floats(min_value=-44.0, max_value=370.0))
def test_saturation_rises_with_temperature(temperature_c: float) -> None:
    assert saturation_pressure_kpa(temperature_c + 0.5) > saturation_pressure_kpa(temperature_c)


def test_formulas_meet_at_the_triple_point() -> None:
    assert wmo_saturation_pressure_kpa(0.01) == pytest.approx(saturation_pressure_kpa(0.01), rel=3e-5)


def test_arrays_pass_with_their_gaps() -> None:
    answer = saturation_pressure_kpa(np.array([[25.0, np.nan], [-10.0, 0.01]]))
    assert answer.shape == (2, 2)
    assert math.isnan(answer[0, 1])
    assert answer[0, 0] == pytest.approx(3.1699, abs=1e-3)  # IAPWS-95
    assert answer[1, 0] == pytest.approx(0.2863, abs=1e-3)  # WMO-No. 8, over supercooled water


@pytest.mark.parametrize("temperature_c", [-60.0, 400.0])
def test_saturation_outside_its_range_is_refused(temperature_c: float) -> None:
    with pytest.raises(ValueError, match="outside"):
        saturation_pressure_kpa(temperature_c)


# The standard atmosphere


@pytest.mark.parametrize("elevation_m", [-200.0, 0.0, 640.0, 2000.0])
def test_standard_atmosphere_agrees_with_psychrolib(elevation_m: float) -> None:
    theirs = psychrolib.GetStandardAtmPressure(elevation_m) / 1000
    assert isa_pressure_kpa(elevation_m) == pytest.approx(theirs, abs=2e-3)


@given(st.floats(min_value=-1900, max_value=10_900))
def test_pressure_altitude_undoes_the_atmosphere(elevation_m: float) -> None:
    assert pressure_altitude_m(isa_pressure_kpa(elevation_m)) == pytest.approx(elevation_m, abs=1e-6)


def test_at_sea_level_the_reported_pressure_is_the_station_pressure() -> None:
    assert station_pressure_kpa(100.7, 0.0) == pytest.approx(100.7)


def test_pressure_reduced_to_sea_level_is_questioned() -> None:
    question = question_pressure(101.6, 550)
    assert question is not None
    assert "reduced to sea level" in question
    assert "94.9 kPa" in question  # ISO 2533 at 550 m


def test_pressure_that_weather_can_explain_is_let_pass() -> None:
    assert question_pressure(95.4, 550) is None
    assert question_pressure(92.0, 550) is None


def test_pressure_far_from_anything_is_questioned_otherwise() -> None:
    question = question_pressure(80.0, 20)
    assert question is not None
    assert "sea level" not in question


# What cannot be


@pytest.mark.parametrize(
    ("given_air", "sentence"),
    [
        ({"temperature_c": math.nan, "pressure_kpa": 100}, "air temperature is missing"),
        ({"temperature_c": 20, "pressure_kpa": math.nan}, "air pressure is missing"),
        ({"temperature_c": 77, "pressure_kpa": 100}, "Check the unit"),
        ({"temperature_c": 20, "pressure_kpa": 1013}, "1013 hPa"),
        ({"temperature_c": 20, "pressure_kpa": 29.9}, "Check the unit"),
        ({"temperature_c": 20, "pressure_kpa": 100, "humidity_pct": 0}, "above 0"),
        ({"temperature_c": 20, "pressure_kpa": 100, "humidity_pct": 101}, "at most 100"),
        ({"temperature_c": 20, "pressure_kpa": 100, "humidity_pct": math.nan}, "humidity is missing"),
        ({"temperature_c": 20, "pressure_kpa": 100, "dew_point_c": 21}, "dew point cannot"),
        ({"temperature_c": 20, "pressure_kpa": 100, "wet_bulb_c": 21}, "cannot be warmer"),
        ({"temperature_c": 40, "pressure_kpa": 100, "wet_bulb_c": 1}, "too far below"),
        ({"temperature_c": 20, "pressure_kpa": 100, "vapour_kpa": -1}, "below zero"),
        ({"temperature_c": 20, "pressure_kpa": 100, "vapour_kpa": 100}, "cannot reach"),
        ({"temperature_c": 20, "pressure_kpa": 100, "humidity_pct": 50, "dew_point_c": 9}, "once"),
    ],
)
def test_impossible_air_is_refused(given_air: dict[str, float], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        Air(**given_air)


def test_saturated_air_has_its_wet_bulb_and_dew_point_at_its_temperature() -> None:
    by_humidity = Air(18.0, 98.0, humidity_pct=100)
    assert Air(18.0, 98.0, wet_bulb_c=18.0).dry_pressure_kpa == pytest.approx(by_humidity.dry_pressure_kpa)
    assert Air(18.0, 98.0, dew_point_c=18.0).dry_pressure_kpa == pytest.approx(by_humidity.dry_pressure_kpa)


# Standards


def test_moisture_not_measured_is_no_dry_air() -> None:
    air = Air(20.0, 100.0)
    assert math.isnan(air.dry_pressure_kpa)
    assert correct("din_70020", air).factor == pytest.approx(1.01325)  # takes total pressure
    with pytest.raises(ValueError, match="needs the humidity"):
        correct("iso_1585", air)


def test_factor_is_not_held_back_at_the_limit() -> None:
    # (99/80)^1.2 · (308.15/298.15)^0.6 = 1.29138 · 1.01999 = 1.31720, worked with logarithms
    correction = correct("eu_134_2014", Air(35.0, 80.0, vapour_kpa=0))
    assert correction.factor == pytest.approx(1.3172, abs=1e-4)
    assert not correction.in_limits
    assert not correction.factor_in_range
    assert correction.temperature_in_range
    assert "1.317" in correction.passed_limits[0]


def test_each_limit_passed_has_its_sentence() -> None:
    correction = correct("sae_j1349", Air(40.0, 88.0, vapour_kpa=0))
    assert len(correction.passed_limits) == 3
    heat, pressure, _ = correction.passed_limits
    assert "40.0 °C" in heat and "15.0 to 35.0 °C" in heat
    assert "88.0 kPa" in pressure and "90 to 105 kPa" in pressure


@pytest.mark.parametrize("temperature_c", [15.0, 35.0])
def test_air_on_the_limit_is_inside(temperature_c: float) -> None:
    assert correct("sae_j1349", Air(temperature_c, 99.0, vapour_kpa=0)).in_limits


def test_range_printed_with_open_ends_leaves_them_out() -> None:
    at_the_end = correct("eu_134_2014", Air(283.2 - 273.15, 99.0, vapour_kpa=0))
    assert not at_the_end.temperature_in_range


def test_standard_without_ranges_passes_none() -> None:
    assert correct("sae_j607", Air(-20.0, 70.0, vapour_kpa=0)).in_limits


@given(
    st.sampled_from(sorted(STANDARDS)),
    st.floats(min_value=0, max_value=45),
    st.floats(min_value=70, max_value=105),
    st.floats(min_value=5, max_value=100),
)
def test_corrected_figure_goes_back_to_observed(
    standard_id: str, temperature_c: float, pressure_kpa: float, humidity_pct: float
) -> None:
    air = Air(temperature_c, pressure_kpa, humidity_pct=humidity_pct)
    corrected = correct(standard_id, air).apply(88.0)
    assert corrected * uncorrect(standard_id, air) == pytest.approx(88.0)


def test_apply_takes_a_whole_curve() -> None:
    correction = correct("sae_j1349", Air(30.0, 97.0, humidity_pct=60))
    curve = correction.apply(np.array([50.0, np.nan, 100.0]))
    assert curve[2] == pytest.approx(2 * curve[0])
    assert math.isnan(curve[1])


def test_thinner_and_warmer_air_is_corrected_further_up() -> None:
    for standard_id in STANDARDS:
        mild = correct(standard_id, Air(20.0, 99.0, humidity_pct=40)).factor
        assert correct(standard_id, Air(20.0, 95.0, humidity_pct=40)).factor > mild
        assert correct(standard_id, Air(30.0, 99.0, humidity_pct=40)).factor > mild


def test_full_mechanical_efficiency_is_the_plain_ratio() -> None:
    air = Air(35.0, 95.0, vapour_kpa=0)
    plain = (99 / 95) * math.sqrt(308.15 / 298.15)
    assert correct("sae_j1349", air, mech_eff=1.0).factor == pytest.approx(plain)


@pytest.mark.parametrize(
    ("standard_id", "mech_eff", "sentence"),
    [
        ("iso_1585", 0.85, "takes no mechanical efficiency"),
        ("sae_j1349", 0.0, "above 0"),
        ("sae_j1349", 1.2, "at most 1"),
        ("sae_j1349", math.nan, "missing"),
        ("jis", None, "not a correction standard"),
    ],
)
def test_impossible_correction_is_refused(standard_id: str, mech_eff: float | None, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        correct(standard_id, Air(25.0, 99.0, humidity_pct=50), mech_eff=mech_eff)


def test_losses_in_line_multiply() -> None:
    assert transmission_efficiency([]) == 1
    assert alpha2(transmission_efficiency([0.5, 0.8])) == pytest.approx(2.5)
    with pytest.raises(ValueError, match="at most 1"):
        transmission_efficiency([0.98, 1.05])
