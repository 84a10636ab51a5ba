"""Chart, table and sentences of a roll-on in the shop's units, for page and CSV alike."""

from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from jobs.calc.chassis.roll_on_comparison import RollOnComparison
from jobs.calc.dyno.comparison import ComparedValue
from jobs.calc.dyno.curve_difference import Verdict
from jobs.calc.units.numbers import format_digits, format_number, format_range
from jobs.comparisons.charts import (
    build_value_row,
    compared_cells,
    difference_formatter,
    stored_value,
)
from jobs.comparisons.roll_on import ROLLING_COEFFICIENT, RollOnResult, format_given
from jobs.job.sentences import upper_first
from jobs.runs.chart_data import ChannelDisplay, Chart, CurveLine, build_chart
from workshop.models import ShopProfile
from workshop.units.display import convert, label
from workshop.units.shop_units import shop_unit


@dataclass(frozen=True)
class RollOnRow:
    """One value of a roll-on before and after, as text."""

    label: str
    before: str
    after: str
    difference: str
    interval: str
    verdict: str


@dataclass(frozen=True)
class RollOnBand:
    """The rows for the engine alone, or those held to what front wheel or rear tyre allows."""

    name: str
    rows: list[RollOnRow]


@dataclass(frozen=True)
class RollOnSummary:
    """Summary of a roll-on: conditions, results and assumptions.

    ``bands`` holds the rows for the engine alone, then those limited by front wheel or rear tyre if the limit
    is reached. The rows have a title only if there are both.
    """

    caption: str
    lead: str
    bands: list[RollOnBand]
    limit: str
    notes: list[str]
    assumed: str


def roll_on_rows(result: RollOnComparison, shop: ShopProfile) -> list[RollOnRow]:
    """Return the rows of time, distance and distance at the same instant."""
    return [_row(value, shop) for value in (result.time, result.distance, result.lead)]


def _row(value: ComparedValue, shop: ShopProfile) -> RollOnRow:
    row = build_value_row(value, shop)
    return RollOnRow(row.label, row.before, row.after, row.difference, row.interval, row.verdict)


def describe_roll_on(roll_on: RollOnResult, shop: ShopProfile) -> RollOnSummary | None:
    """Summarise a roll-on, or return None if it has no result."""
    if roll_on.result is None or roll_on.limited is None or roll_on.limit is None or roll_on.gearing is None:
        return None
    inputs, is_limited = roll_on.inputs, max(roll_on.limited.at_limit_s) > 0
    speed_unit = shop_unit(shop, "speed")
    low, high = (
        format_number(convert(v or 0.0, "kmh", speed_unit), 1, trim=True)
        for v in (inputs.from_kmh, inputs.to_kmh)
    )
    bands = [RollOnBand(_("The engine alone") if is_limited else "", roll_on_rows(roll_on.result, shop))]
    if is_limited:
        title = _("Limited by %(what)s") % {"what": _(roll_on.limit.by)}
        bands.append(RollOnBand(title, roll_on_rows(roll_on.limited, shop)))
    return RollOnSummary(
        caption=_("Gear %(gear)s, %(low)s to %(high)s %(unit)s, %(mass)s kg")
        % {
            "gear": inputs.gear,
            "low": low,
            "high": high,
            "unit": label(speed_unit),
            "mass": format_number(inputs.mass_kg or 0.0),
        },
        lead=lead_sentence(roll_on.result, shop),
        bands=bands,
        limit=limit_sentence(roll_on, shop),
        notes=list(roll_on.notes),
        assumed=assumptions_sentence(roll_on, shop),
    )


def lead_sentence(result: RollOnComparison, shop: ShopProfile) -> str:
    """Describe the lead of after, with its interval, when the first run reaches the end speed."""
    lead, show = stored_value(result.lead), difference_formatter("m", shop)
    values = {
        "interval": format_range(show(lead.ci_low), show(lead.ci_high)),
        "time": format_number(float(result.time_s[-1]), 2),
        "lead": show(abs(lead.difference)),
    }
    if lead.verdict is Verdict.NO_DIFFERENCE:
        text = _(
            "No clear lead after %(time)s s (95 %% interval %(interval)s). This does not prove they are "
            "equal."
        )
    elif lead.difference > 0:
        text = _(
            "%(time)s s after the same start, the bike is %(lead)s ahead of where it was before the work "
            "(95 %% interval %(interval)s)."
        )
    else:
        text = _(
            "%(time)s s after the same start, the bike is %(lead)s behind where it was before the work "
            "(95 %% interval %(interval)s)."
        )
    return text % values


def limit_sentence(roll_on: RollOnResult, shop: ShopProfile) -> str:
    """Describe the limit set by front wheel or rear tyre."""
    assert roll_on.limited and roll_on.limit  # checked by describe_roll_on
    values = {"what": upper_first(_(roll_on.limit.by)), "force": format_number(roll_on.limit.drive_n)}
    if not max(roll_on.limited.at_limit_s) > 0:
        text = _(
            "%(what)s would limit the drive force to %(force)s N. The bike does not reach it, before "
            "or after."
        )
        return text % values
    before, after = (format_number(seconds, 2) for seconds in roll_on.limited.at_limit_s)
    text = _(
        "%(what)s allows %(force)s N at the rear wheel. This limits “before” for %(before)s s and “after” "
        "for "
        "%(after)s s. With this limit: %(lead)s"
    )
    lead = lead_sentence(roll_on.limited, shop)
    return text % {**values, "before": before, "after": after, "lead": lead}


def assumptions_sentence(roll_on: RollOnResult, shop: ShopProfile) -> str:
    """Describe the assumptions of a roll-on."""
    inputs, gearing, air = roll_on.inputs, roll_on.gearing, roll_on.air
    assert gearing and air
    ahead, height, base = (
        format_given(length or 0.0, "length", shop)
        for length in (inputs.mass_ahead_mm, inputs.mass_height_mm, inputs.wheelbase_mm)
    )
    text = _(
        "Full throttle, straight and level, no wind. %(air)s Rotating masses count as %(rotating)s %% of the "
        "mass (%(source)s). %(ratio)s rpm per km/h, %(gearing)s. Drag area %(drag)s m², rolling resistance "
        "%(rolling)s of the weight; centre of mass %(ahead)s ahead of the rear wheel and %(height)s up, "
        "wheelbase %(wheelbase)s, friction of the rear tyre %(friction)s. Calculated; not a promise for the "
        "road."
    )
    return text % {
        "air": air.sentence,
        "rotating": format_digits(inputs.rotating_pct or 0.0),
        "source": roll_on.rotating_source,
        "ratio": format_number(gearing.rpm_per_kmh, 1),
        "gearing": gearing.source,
        "drag": format_digits(inputs.drag_area_m2 or 0.0),
        "rolling": format_digits(ROLLING_COEFFICIENT),
        "ahead": ahead,
        "height": height,
        "wheelbase": base,
        "friction": format_digits(inputs.friction or 0.0),
    }


def roll_on_assumptions(roll_on: RollOnResult, shop: ShopProfile) -> list[list[Any]]:
    """Return masses, air and resistance of a roll-on: name, unit, before, runs before (none), after."""
    inputs, air, unit = roll_on.inputs, roll_on.air, shop_unit(shop, "mass")
    mass = None if inputs.mass_kg is None else round(float(convert(inputs.mass_kg, "kg", unit)), 1)
    return [
        [name, unit_label, value, "", value]
        for name, unit_label, value in (
            ("Mass of bike and rider", label(unit), mass),
            (f"Rotating masses ({roll_on.rotating_source})", "% of the mass", inputs.rotating_pct),
            (
                f"Air density. {air.sentence}" if air else "Air density",
                "kg/m³",
                air and round(air.density_kgm3, 4),
            ),
            ("Drag area", "m²", inputs.drag_area_m2),
            ("Rolling resistance", "of the weight", ROLLING_COEFFICIENT),
        )
    ]


def lead_chart(result: RollOnComparison, shop: ShopProfile) -> Chart:
    unit = shop_unit(shop, "road_length")
    measure = ChannelDisplay("ahead of before", label(unit), 2, lambda metres: convert(metres, "m", unit))
    line = CurveLine(
        "after, 95 % interval",
        "after",
        result.time_s,
        result.lead_m,
        result.lead_low_m,
        result.lead_high_m,
    )
    return build_chart("time", "s", [(measure, [line])], x_digits=2)


def roll_on_csv_rows(roll_on: RollOnResult, title: str, shop: ShopProfile) -> list[list[Any]]:
    """Return the roll-on as CSV rows in the columns of its comparison."""
    result, inputs, gearing = roll_on.result, roll_on.inputs, roll_on.gearing
    if result is None or gearing is None or inputs.from_kmh is None or inputs.to_kmh is None:
        return []
    ends = [round(speed * gearing.rpm_per_kmh) for speed in (inputs.from_kmh, inputs.to_kmh)]
    rows_by_band = [(f"roll-on in gear {inputs.gear}", result)]
    if roll_on.limited and roll_on.limit and max(roll_on.limited.at_limit_s) > 0:
        rows_by_band.append(
            (f"roll-on in gear {inputs.gear}, limited by {roll_on.limit.by}", roll_on.limited)
        )
    assumed = f"roll-on in gear {inputs.gear}, assumed"
    heads = [[title, assumed, *ends, *cells] for cells in roll_on_assumptions(roll_on, shop)]
    return heads + [
        [title, name, *ends, *compared_cells(value, shop)]
        for name, comparison in rows_by_band
        for value in (comparison.time, comparison.distance, comparison.lead)
    ]
