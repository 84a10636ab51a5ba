"""Water vapour and the standard atmosphere against IAPWS, WMO, ASHRAE, ISO and ICAO figures."""

from typing import Any

import pytest

from jobs.calc.dyno.air import Air, correct
from jobs.calc.dyno.atmosphere import (
    dew_point_c,
    isa_pressure_kpa,
    pressure_altitude_m,
    saturation_pressure_kpa,
    station_pressure_kpa,
    wmo_saturation_pressure_kpa,
)
from jobs.calc.units.factors import convert
from tests.reference.cases import Case, assert_case, handler_for, topic_params


def saturation(case: Case) -> float:
    return saturation_pressure_kpa(case["inputs"]["t_C"])


def region_4(case: Case) -> float:
    return saturation_pressure_kpa(convert(case["inputs"]["T_K"], "k", "c")) / 1000


def wmo(case: Case) -> float:
    return convert(wmo_saturation_pressure_kpa(case["inputs"]["t_C"]), "kpa", "hpa")


def moist_air(case: Case) -> dict[str, float]:
    """Whatever a case asks of air with its moisture told as humidity, dew point or wet bulb."""
    inputs = case["inputs"]
    air = Air(
        inputs.get("t_C", inputs.get("t_dew_C")),
        inputs["p_kPa"],
        humidity_pct=inputs.get("rh_percent"),
        dew_point_c=inputs.get("t_dew_C"),
        wet_bulb_c=inputs.get("t_wet_C"),
    )
    return {
        "pv_kPa": air.vapour_pressure_kpa,
        "p_dry_kPa": air.dry_pressure_kpa,
        "rh_percent": air.relative_humidity_pct,
        "hum_ratio_g_per_kg": air.humidity_ratio * 1000,
        "t_dew_C": dew_point_c(air.vapour_pressure_kpa),
        "enthalpy_kJ_per_kg": air.enthalpy_kj_per_kg,
        "volume_m3_per_kg": 1 / air.dry_air_density_kg_m3,
    }


def dew_point(case: Case) -> float:
    # a dew point needs no pressure of the air; any will do
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
    answer: Any = handler_for(case, HANDLERS)(case)
    assert_case(case, answer)
    if case["id"].startswith("trap-qnh-"):  # the case's own note is tighter than its tolerance
        for name, bound in (("j1349_right", 1e-3), ("j1349_wrong", 1e-3), ("station_kPa", 0.07)):
            assert answer[name] == pytest.approx(case["expected"][name], abs=bound)
    if case["id"].startswith("vap-rh-"):
        assert answer["p_dry_kPa"] == pytest.approx(case["expected"]["p_dry_kPa"], abs=0.02)
