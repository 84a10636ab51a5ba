"""Humid air against PsychroLib (ASHRAE 2017), and corrections with the limits they pass."""

import math

import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.calc.dyno.air import (
    STANDARDS,
    Air,
    Ignition,
    Induction,
    Standard,
    correct,
    correction_blocker,
    pressure_warning,
    uncorrect,
)
from jobs.calc.dyno.atmosphere import (
    isa_pressure_kpa,
    saturation_pressure_kpa,
    vapour_pressure_from_humidity_kpa,
    vapour_pressure_from_wet_bulb_kpa,
)
from tests.calc.airs import air_by_dry_pressure
from tests.reference import closed_forms

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
def test_moist_air_agrees_with_psychrolib(
    temperature_c: float, humidity_pct: float, pressure_kpa: float
) -> None:
    air = Air(temperature_c, pressure_kpa, humidity_pct=humidity_pct)
    share, pascal = humidity_pct / 100, pressure_kpa * 1000
    vapour = psychrolib.GetVapPresFromRelHum(temperature_c, share)
    assert air.vapour_pressure_kpa * 1000 == pytest.approx(vapour, rel=1e-3)
    ratio = psychrolib.GetHumRatioFromRelHum(temperature_c, share, pascal)
    found = closed_forms.humidity_ratio(air.vapour_pressure_kpa, air.pressure_kpa)
    assert found == pytest.approx(ratio, rel=1e-3)
    dry_density = closed_forms.dry_air_density_kg_m3(temperature_c, air.dry_pressure_kpa)
    assert dry_density * (1 + found) == pytest.approx(
        psychrolib.GetMoistAirDensity(temperature_c, ratio, pascal), rel=1e-4
    )
    assert closed_forms.enthalpy_kj_per_kg(temperature_c, found) * 1000 == pytest.approx(
        psychrolib.GetMoistAirEnthalpy(temperature_c, ratio), rel=1e-3
    )


@pytest.mark.parametrize(("temperature_c", "humidity_pct", "pressure_kpa"), ABOVE_FREEZING_WET)
def test_wet_bulb_gives_the_vapour_pressure_of_psychrolib(
    temperature_c: float, humidity_pct: float, pressure_kpa: float
) -> None:
    wet = wet_bulb_c(temperature_c, humidity_pct, pressure_kpa)
    # PsychroLib iterates its wet bulb to 0.001 °C, which is about 0.07 Pa
    expected = vapour_pressure_from_humidity_kpa(temperature_c, float(humidity_pct))
    answer = vapour_pressure_from_wet_bulb_kpa(temperature_c, wet, pressure_kpa)
    assert answer == pytest.approx(expected, rel=1e-3, abs=2e-4)


@pytest.mark.parametrize(("temperature_c", "humidity_pct", "pressure_kpa"), BELOW_FREEZING_WET)
def test_frozen_wet_bulb_is_refused(temperature_c: float, humidity_pct: float, pressure_kpa: float) -> None:
    with pytest.raises(ValueError, match="ice on the wet bulb"):
        Air(temperature_c, pressure_kpa, wet_bulb_c=wet_bulb_c(temperature_c, humidity_pct, pressure_kpa))


@pytest.mark.parametrize(("temperature_c", "humidity_pct", "pressure_kpa"), ABOVE_FREEZING_DEW)
def test_dew_point_gives_the_vapour_pressure_of_psychrolib(
    temperature_c: float, humidity_pct: float, pressure_kpa: float
) -> None:
    dew_point_c = psychrolib.GetTDewPointFromRelHum(temperature_c, humidity_pct / 100)
    by_dew_point = Air(temperature_c, pressure_kpa, dew_point_c=dew_point_c)
    by_humidity = Air(temperature_c, pressure_kpa, humidity_pct=humidity_pct)
    # 0.02 °C of dew point is at most 0.15 % of the vapour pressure
    assert by_dew_point.vapour_pressure_kpa == pytest.approx(by_humidity.vapour_pressure_kpa, rel=1.5e-3)


@given(st.floats(min_value=-44.0, max_value=370.0))
def test_saturation_rises_with_temperature(temperature_c: float) -> None:
    assert saturation_pressure_kpa(temperature_c + 0.5) > saturation_pressure_kpa(temperature_c)


def test_formulas_agree_at_the_triple_point() -> None:
    below, above = saturation_pressure_kpa(0.0099999), saturation_pressure_kpa(0.01)
    assert below == pytest.approx(above, rel=3e-5)


def test_arrays_keep_their_shape_and_nan() -> None:
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


def test_pressure_reduced_to_sea_level_gets_a_warning() -> None:
    question = pressure_warning(101.6, 550)
    assert question is not None
    assert "corrected to sea level" in question
    assert "94.9 kPa" in question  # ISO 2533 at 550 m


def test_pressure_that_weather_explains_gets_no_warning() -> None:
    assert pressure_warning(95.4, 550) is None
    assert pressure_warning(92.0, 550) is None


def test_implausible_pressure_gets_a_different_warning() -> None:
    question = pressure_warning(80.0, 20)
    assert question is not None
    assert "sea level" not in question


# Impossible values


def test_dry_air_has_no_vapour() -> None:
    air = Air(25.0, 99.0, humidity_pct=0)
    assert (air.vapour_pressure_kpa, air.dry_pressure_kpa) == (0.0, 99.0)
    assert correct("eu_134_2014", air).factor == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("given_air", "sentence"),
    [
        ({"temperature_c": math.nan, "pressure_kpa": 100}, "air temperature is missing"),
        ({"temperature_c": 20, "pressure_kpa": math.nan}, "air pressure is missing"),
        ({"temperature_c": 77, "pressure_kpa": 100}, "check the unit"),
        ({"temperature_c": 20, "pressure_kpa": 1013}, "1013 hPa"),
        ({"temperature_c": 20, "pressure_kpa": 29.9}, "check the unit"),
        ({"temperature_c": 20, "pressure_kpa": 100, "humidity_pct": -1}, "from 0 to 100"),
        ({"temperature_c": 20, "pressure_kpa": 100, "humidity_pct": 101}, "from 0 to 100"),
        ({"temperature_c": 20, "pressure_kpa": 100, "humidity_pct": math.nan}, "humidity is missing"),
        ({"temperature_c": 20, "pressure_kpa": 100, "dew_point_c": 21}, "dew point cannot"),
        (
            {"temperature_c": 20, "pressure_kpa": 100, "wet_bulb_c": 21},
            "must not be above the air temperature",
        ),
        ({"temperature_c": 40, "pressure_kpa": 100, "wet_bulb_c": 1}, "too far below"),
        ({"temperature_c": 20, "pressure_kpa": 100, "humidity_pct": 50, "dew_point_c": 9}, "only one of"),
    ],
)
def test_impossible_air_is_refused(given_air: dict[str, float], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        Air(**given_air)


def test_saturated_air_has_wet_bulb_and_dew_point_at_its_temperature() -> None:
    by_humidity = Air(18.0, 98.0, humidity_pct=100)
    assert Air(18.0, 98.0, wet_bulb_c=18.0).dry_pressure_kpa == pytest.approx(by_humidity.dry_pressure_kpa)
    assert Air(18.0, 98.0, dew_point_c=18.0).dry_pressure_kpa == pytest.approx(by_humidity.dry_pressure_kpa)


# Standards


def test_unmeasured_moisture_is_not_taken_as_dry_air() -> None:
    air = Air(20.0, 100.0)
    assert math.isnan(air.dry_pressure_kpa)
    assert correct("din_70020", air).factor == pytest.approx(1.01325)  # takes total pressure
    with pytest.raises(ValueError, match="needs the air humidity"):
        correct("iso_1585", air)


def test_factor_is_not_clamped_to_its_limit() -> None:
    # (99/80)^1.2 · (308.15/298.15)^0.6 = 1.29138 · 1.01999 = 1.31720, worked with logarithms
    correction = correct("eu_134_2014", air_by_dry_pressure(35.0, 80.0))
    assert correction.factor == pytest.approx(1.3172, abs=1e-4)
    (sentence,) = correction.passed_limits
    assert sentence.startswith("The factor 1.317 is outside")


def test_each_passed_limit_has_a_sentence() -> None:
    correction = correct("sae_j1349", air_by_dry_pressure(40.0, 88.0))
    assert len(correction.passed_limits) == 3
    heat, pressure, _ = correction.passed_limits
    assert "40.0 °C" in heat and "15.0 to 35.0 °C" in heat
    assert "88.0 kPa" in pressure and "90 to 105 kPa" in pressure


@pytest.mark.parametrize("temperature_c", [15.0, 35.0])
def test_air_at_the_limit_is_inside(temperature_c: float) -> None:
    assert correct("sae_j1349", air_by_dry_pressure(temperature_c, 99.0)).passed_limits == ()


def test_open_range_excludes_its_ends() -> None:
    (sentence,) = correct("eu_134_2014", air_by_dry_pressure(283.2 - 273.15, 99.0)).passed_limits
    assert sentence.startswith("The air was at")


def test_standard_without_ranges_has_no_limit_to_pass() -> None:
    assert correct("sae_j607", air_by_dry_pressure(-20.0, 70.0)).passed_limits == ()


@given(
    st.sampled_from(sorted(STANDARDS)),
    st.floats(min_value=0, max_value=45),
    st.floats(min_value=70, max_value=105),
    st.floats(min_value=5, max_value=100),
)
def test_uncorrect_reverses_correct(
    standard_id: str, temperature_c: float, pressure_kpa: float, humidity_pct: float
) -> None:
    air = Air(temperature_c, pressure_kpa, humidity_pct=humidity_pct)
    corrected = correct(standard_id, air).factor * 88.0
    assert corrected * uncorrect(standard_id, air) == pytest.approx(88.0)


def test_thinner_and_warmer_air_has_a_larger_factor() -> None:
    for standard_id in STANDARDS:
        mild = correct(standard_id, Air(20.0, 99.0, humidity_pct=40)).factor
        assert correct(standard_id, Air(20.0, 95.0, humidity_pct=40)).factor > mild
        assert correct(standard_id, Air(30.0, 99.0, humidity_pct=40)).factor > mild


def test_unknown_standard_is_refused() -> None:
    with pytest.raises(ValueError, match="not a correction standard"):
        correct("jis", Air(25.0, 99.0, humidity_pct=50))


# Standards and kinds of engine


@pytest.mark.parametrize("standard", STANDARDS.values(), ids=STANDARDS)
def test_each_limit_names_its_source(standard: Standard) -> None:
    assert standard.edition
    assert standard.scope
    assert standard.source
    ranges = (standard.temperature_range_k, standard.pressure_range_kpa, standard.factor_range)
    assert len(standard.limits) == sum(limit is not None for limit in ranges)
    assert all(source for _, source in standard.limits)


def test_only_the_temperatures_of_the_eu_regulation_were_read() -> None:
    """The other limits could not be read in a public text, and say so."""
    read = {
        (key, limit)
        for key, standard in STANDARDS.items()
        for limit, source in standard.limits
        if "from memory" not in source
    }
    # 283.2 to 318.2 K less 273.15
    assert read == {("eu_134_2014", "air 10.1 to 45.1 °C")}


@pytest.mark.parametrize(
    ("induction", "ignition", "words"),
    [
        (Induction.NATURAL, Ignition.SPARK, None),
        (Induction.CHARGED, Ignition.SPARK, None),
        (Induction.CONSTANT_BOOST, Ignition.SPARK, "controls its boost pressure"),
        (Induction.NATURAL, Ignition.COMPRESSION, "fuel per stroke"),
        (Induction.CONSTANT_BOOST, Ignition.COMPRESSION, "fuel per stroke"),
    ],
)
def test_engines_that_no_factor_is_for_are_not_corrected(induction, ignition, words: str | None) -> None:
    sentence = correction_blocker(induction, ignition)
    assert sentence is None if words is None else words in sentence
