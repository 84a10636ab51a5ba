"""Water vapour and the standard atmosphere against IAPWS, WMO, ASHRAE, ISO and ICAO values."""

from typing import Any

import pytest
from scipy.optimize import brentq

from jobs.calc.dyno.air import Air, correct
from jobs.calc.dyno.atmosphere import isa_pressure_kpa, saturation_pressure_kpa
from jobs.calc.units.factors import convert
from tests.reference import closed_forms
from tests.reference.cases import Case, assert_case, find_handler, topic_params


def dew_point_c(vapour_pressure_kpa: float) -> float:
    """Return the temperature [°C] at which the product's saturation pressure is this [kPa]."""
    return float(brentq(lambda t: saturation_pressure_kpa(t) - vapour_pressure_kpa, -45.0, 100.0))


def pressure_altitude_m(pressure_kpa: float) -> float:
    """Return the height [m] at which the product's standard atmosphere has this pressure [kPa]."""
    return float(brentq(lambda h: isa_pressure_kpa(h) - pressure_kpa, -2000.0, 11_000.0))


def station_pressure_kpa(qnh_kpa: float, elevation_m: float) -> float:
    """Return the pressure [kPa] at an elevation [m] of an atmosphere shifted to the reported QNH [kPa].

    ICAO Doc 7488: QNH is the pressure at sea level of the standard atmosphere that fits the station.
    """
    return isa_pressure_kpa(elevation_m + pressure_altitude_m(qnh_kpa))


def saturation(case: Case) -> float:
    return saturation_pressure_kpa(case["inputs"]["t_C"])


def region_4(case: Case) -> float:
    return saturation_pressure_kpa(convert(case["inputs"]["T_K"], "k", "c")) / 1000


def wmo(case: Case) -> float:
    """Compute by the formula above freezing, which the product also uses below it."""
    for below_freezing_c in (-40.0, -case["inputs"]["t_C"]):
        closed = closed_forms.magnus_pressure_kpa(below_freezing_c)
        assert saturation_pressure_kpa(below_freezing_c) == pytest.approx(closed, rel=1e-9)
    return convert(closed_forms.magnus_pressure_kpa(case["inputs"]["t_C"]), "kpa", "hpa")


def moist_air(case: Case) -> dict[str, float]:
    """Return the moist-air values of a case with humidity, dew point or wet bulb."""
    inputs = case["inputs"]
    air = Air(
        inputs.get("t_C", inputs.get("t_dew_C")),
        inputs["p_kPa"],
        humidity_pct=inputs.get("rh_percent"),
        dew_point_c=inputs.get("t_dew_C"),
        wet_bulb_c=inputs.get("t_wet_C"),
    )
    ratio = closed_forms.humidity_ratio(air.vapour_pressure_kpa, air.pressure_kpa)
    return {
        "pv_kPa": air.vapour_pressure_kpa,
        "p_dry_kPa": air.dry_pressure_kpa,
        "rh_percent": 100 * air.vapour_pressure_kpa / saturation_pressure_kpa(air.temperature_c),
        "hum_ratio_g_per_kg": ratio * 1000,
        "t_dew_C": dew_point_c(air.vapour_pressure_kpa),
        "enthalpy_kJ_per_kg": closed_forms.enthalpy_kj_per_kg(air.temperature_c, ratio),
        "volume_m3_per_kg": 1 / closed_forms.dry_air_density_kg_m3(air.temperature_c, air.dry_pressure_kpa),
    }


def dew_point(case: Case) -> float:
    # a dew point does not depend on air pressure, so any value will do
    air = Air(case["inputs"]["t_C"], 101.325, humidity_pct=case["inputs"]["rh_percent"])
    return dew_point_c(air.vapour_pressure_kpa)


def standard_atmosphere(case: Case) -> float:
    return convert(isa_pressure_kpa(case["inputs"]["geopotential_m"]), "kpa", "hpa")


def altimeter_setting(case: Case) -> float:
    sea_level_kpa = convert(case["inputs"]["qnh_hPa"], "hpa", "kpa")
    return convert(station_pressure_kpa(sea_level_kpa, case["inputs"]["elevation_m"]), "kpa", "hpa")


def pressure_altitude(case: Case) -> float:
    return convert(pressure_altitude_m(convert(case["inputs"]["station_inHg"], "inhg", "kpa")), "m", "ft")


def sea_level_trap(case: Case) -> dict[str, float]:
    inputs = case["inputs"]
    sea_level_kpa = convert(inputs["qnh_hPa"], "hpa", "kpa")
    station_kpa = station_pressure_kpa(sea_level_kpa, inputs["elevation_m"])

    def j1349(pressure_kpa: float) -> float:
        return correct(
            "sae_j1349", Air(inputs["t_C"], pressure_kpa, humidity_pct=inputs["rh_percent"])
        ).factor

    right, wrong = j1349(station_kpa), j1349(sea_level_kpa)
    return {
        "station_kPa": station_kpa,
        "j1349_right": right,
        "j1349_wrong": wrong,
        "understatement_percent": 100 * (1 - wrong / right),
    }


HANDLERS = {
    "vap-psat-": saturation,
    "vap-if97-": region_4,
    "vap-wmo-": wmo,
    "vap-rh-": moist_air,
    "vap-dew-": moist_air,
    "vap-wet-": moist_air,
    "vap-ashrae-": moist_air,
    "vap-dewfromrh-": dew_point,
    "isa-": standard_atmosphere,
    "qnh-": altimeter_setting,
    "qnh-pub-": pressure_altitude,
    "trap-qnh-": sea_level_trap,
}


@pytest.mark.parametrize("case", topic_params(2))
def test_vapour_and_atmosphere_agree_with_source(case: Case) -> None:
    result: Any = find_handler(case, HANDLERS)(case)
    assert_case(case, result)
    if case["id"].startswith("trap-qnh-"):  # the case's own note is tighter than its tolerance
        for name, bound in (("j1349_right", 1e-3), ("j1349_wrong", 1e-3), ("station_kPa", 0.07)):
            assert result[name] == pytest.approx(case["expected"][name], abs=bound)
    if case["id"].startswith("vap-rh-"):
        assert result["p_dry_kPa"] == pytest.approx(case["expected"]["p_dry_kPa"], abs=0.02)
