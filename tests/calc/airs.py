"""Air as published examples state it."""

from jobs.calc.dyno.air import Air
from jobs.calc.dyno.atmosphere import saturation_pressure_kpa


def air_by_dry_pressure(temperature_c: float, dry_kpa: float, total_kpa: float | None = None) -> Air:
    """Return air of this dry pressure, at 40 % humidity unless the total pressure gives it."""
    saturation_kpa = saturation_pressure_kpa(temperature_c)
    total = dry_kpa + 0.4 * saturation_kpa if total_kpa is None else total_kpa
    return Air(temperature_c, total, humidity_pct=100 * (total - dry_kpa) / saturation_kpa)
