"""What the page of a comparison tells first: the answer, its figures, and the pictures that carry them."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from jobs.calc.dyno.comparison import BandComparison, ComparedValue, RunComparison
from jobs.calc.dyno.curve_difference import CurveDifference, Region, Verdict
from jobs.calc.dyno.curves import Curve
from jobs.calc.statistics import FloatArray, integrate
from jobs.calc.units.numbers import format_number
from jobs.comparisons.charts import (
    QUANTITIES,
    ComparedValueRow,
    build_value_row,
    comparison_chart,
    difference_chart,
    difference_formatter,
    stored_value,
)
from jobs.comparisons.compare import ComparisonResult
from jobs.comparisons.roll_on import RollOnResult
from jobs.runs.chart_data import Chart, channel_display
from jobs.runs.results import curves_at_one_width
from workshop.models import ShopProfile
from workshop.units.display import NO_BREAK_SPACE, convert, label
from workshop.units.shop_units import shop_unit

MAX_RANGES = 3  # named one by one in the answer
WORDS: Mapping[Verdict, str] = {Verdict.MORE: "more", Verdict.LESS: "less"}
# A scale of this many units across is drawn in the page's small pictures.
WIDTH = 200.0


@dataclass(frozen=True)
class Answer:
    """The result in one sentence, and what it rests on."""

    headline: str
    basis: str


def answer(result: RunComparison) -> Answer:
    """Say where the bike gives more or less, or that there is no clear difference."""
    name, regions = "power", result.power.regions
    if not regions:
        name, regions = "torque", result.torque.regions
    before, after = result.design.counts
    basis = (
        f"95 % band over all engine speeds at once; {count_runs(before)} before, {count_runs(after)} after."
    )
    if result.assumed_pct is not None:
        basis += f" There are too few repeats, so a repeatability of {result.assumed_pct:.2g} % is assumed."
    if not regions:
        return Answer(
            "No clear difference in power or torque at any engine speed.",
            f"{basis} This does not prove they are equal.",
        )
    low, high = measured_range(result)
    if len(regions) == 1 and regions[0].from_rpm <= low and regions[0].to_rpm >= high:
        where = f"over the whole measured range ({round_rpm(low)} to {round_rpm(high)} rpm)"
        return Answer(f"{WORDS[regions[0].verdict].capitalize()} {name} {where}.", basis)
    parts = [
        f"{words} {name} {describe_ranges(found)}"
        for verdict, words in WORDS.items()
        if (found := [region for region in regions if region.verdict is verdict])
    ]
    return Answer(f"{', '.join(parts).capitalize()}. No clear difference elsewhere.", basis)


def count_runs(count: int) -> str:
    return "1 run" if count == 1 else f"{count} runs"


def describe_ranges(regions: Sequence[Region]) -> str:
    if len(regions) > MAX_RANGES:
        ends = f"between about {round_rpm(regions[0].from_rpm)} and {round_rpm(regions[-1].to_rpm)} rpm"
        return f"in {len(regions)} ranges {ends}"
    words = [
        f"from about {round_rpm(region.from_rpm)} to {round_rpm(region.to_rpm)} rpm"
        if region.to_rpm > region.from_rpm
        else f"at about {round_rpm(region.from_rpm)} rpm"
        for region in regions
    ]
    return " and ".join(filter(None, [", ".join(words[:-1]), words[-1]]))


def round_rpm(speed: float) -> str:
    return format_number(100 * round(speed / 100))


def measured_range(result: RunComparison) -> tuple[float, float]:
    """Return the lowest and highest engine speed that every run measured [1/min]."""
    measured = result.engine_speed_rpm[np.isfinite(result.power.difference)]
    return float(measured[0]), float(measured[-1])


# --- the figures


@dataclass(frozen=True)
class Whisker:
    """An interval on a scale from 0 to ``WIDTH`` that shows zero."""

    low: float
    middle: float
    high: float
    zero: float

    @property
    def width(self) -> float:
        return round(self.high - self.low, 1)


@dataclass(frozen=True)
class KeyFigure:
    """A value before and after with the interval of its difference."""

    title: str
    row: ComparedValueRow
    words: str
    whisker: Whisker | None
    note: str = ""

    @property
    def is_clear(self) -> bool:
        return self.row.verdict in WORDS


def key_figures(
    compared: ComparisonResult, roll_on: RollOnResult | None, shop: ShopProfile
) -> list[KeyFigure]:
    """Return mean power, peak torque, peak power and the lead of a roll-on."""
    result = compared.result
    if result is None or not result.bands:
        return []
    band, (before, after) = result.bands[0], curves_by_side(compared, shop)
    found = [key_figure(f"Mean power, {band.name}", band.mean_power, shop, band_note(band))]
    for name, value in (("torque", band.peak_torque), ("power", band.peak_power)):
        title, note = describe_peaks(name, band, before, after)
        found.append(key_figure(title, value, shop, note))
    if roll_on and roll_on.result:
        seconds = format_number(float(roll_on.result.time_s[-1]), 2)
        title = f"Roll-on in gear {roll_on.inputs.gear}, distance after {seconds} s"
        ways = {Verdict.MORE: "ahead", Verdict.LESS: "behind"}
        found.append(key_figure(title, roll_on.result.lead, shop, "calculated from the curves", ways))
    return found


def key_figure(
    title: str,
    value: ComparedValue,
    shop: ShopProfile,
    note: str,
    ways: Mapping[Verdict, str] = WORDS,
) -> KeyFigure:
    row, words = build_value_row(value, shop), str(value.verdict)
    if value.verdict in ways:
        words = f"{difference_formatter(value.unit, shop)(abs(value.difference))} {ways[value.verdict]}"
        words += f" ({row.share})" if ways is WORDS and row.share else ""
    return KeyFigure(title, row, words, draw_whisker(stored_value(value)), note)


def draw_whisker(value: ComparedValue) -> Whisker | None:
    if not value.measured:
        return None
    low, high = min(0.0, value.ci_low), max(0.0, value.ci_high)
    span = (high - low) or 1.0

    def place(number: float) -> float:
        return round(WIDTH * (0.05 + 0.9 * (number - low) / span), 1)

    return Whisker(place(value.ci_low), place(value.difference), place(value.ci_high), place(0.0))


def band_note(band: BandComparison) -> str:
    return f"{format_number(band.from_rpm)} to {format_number(band.to_rpm)} rpm"


def curves_by_side(compared: ComparisonResult, shop: ShopProfile) -> tuple[list[Curve], list[Curve]]:
    curves = curves_at_one_width((*compared.before, *compared.after), shop)
    return curves[: len(compared.before)], curves[len(compared.before) :]


def describe_peaks(
    name: str, band: BandComparison, before: Sequence[Curve], after: Sequence[Curve]
) -> tuple[str, str]:
    """Return the title of a highest value and where it lies; at an end of the band it is no peak."""
    if is_at_end(name, band, (*before, *after)):
        return f"Highest {name}, {band.name}", "at an end of this range, so the peak may be outside it"
    places = [
        round_rpm(float(np.mean([peak_rpm(name, curve) for curve in side]))) for side in (before, after)
    ]
    if places[0] == places[1]:
        return f"Peak {name}", f"at about {places[0]} rpm before and after"
    return f"Peak {name}", f"at about {places[0]} rpm before, {places[1]} rpm after"


def peak_rpm(name: str, curve: Curve) -> float:
    return curve.peak_torque_rpm if name == "torque" else curve.peak_power_rpm


def is_at_end(name: str, band: BandComparison, curves: Sequence[Curve]) -> bool:
    """Return True if the highest value of a curve within a band lies at an end of the band."""
    for curve in curves:
        values = curve.torque_nm if name == "torque" else curve.power_kw
        speed = curve.engine_speed_rpm
        inside = np.flatnonzero((speed >= band.from_rpm) & (speed <= band.to_rpm) & np.isfinite(values))
        if inside.size and int(inside[np.argmax(values[inside])]) in (inside[0], inside[-1]):
            return True
    return False


# --- the picture


def story_chart(compared: ComparisonResult, shop: ShopProfile) -> Chart | None:
    """Build one chart of power, torque and lambda, each difference under it; what differs comes first."""
    curves, differences = comparison_chart(compared, shop), difference_chart(compared, shop)
    result = compared.result
    if curves is None or differences is None or result is None:
        return None
    names = [name for name, _ in QUANTITIES]
    names.sort(key=lambda name: not getattr(result, name).regions)
    by_name = dict(zip((name for name, _ in QUANTITIES), curves["panels"], strict=False))
    strips = dict(zip((name for name, _ in QUANTITIES), differences["panels"], strict=True))
    panels: list[dict[str, Any]] = []
    for name in names:
        main, strip = by_name[name], strips[name]
        main["peaks"] = peak_marks(name, compared, shop)
        strip |= {
            "kind": "difference",
            "of": len(panels),
            "min_span": min_span(main),
            "verdicts": verdict_strip(name, getattr(result, name), result),
        }
        panels += [main, strip]
    return {**curves, "choose": True, "panels": [*panels, *curves["panels"][len(QUANTITIES) :]]}


def min_span(main: dict[str, Any]) -> float:
    """Return 2 % of the highest value, so that the strip does not make mountains of a scatter."""
    highest = max(
        (y for series in main["series"] for y in series["y"] if y is not None), key=abs, default=0.0
    )
    return float(round(0.02 * abs(highest), 4))


def verdict_strip(name: str, difference: CurveDifference, result: RunComparison) -> list[dict[str, Any]]:
    """Say in words over all measured engine speeds where there is more, less or no clear difference."""
    low, high = measured_range(result)
    pieces: list[dict[str, Any]] = []
    at = low
    none = {"verdict": "same", "text": str(Verdict.NO_DIFFERENCE)}
    for region in difference.regions:
        if region.from_rpm > at:
            pieces.append({"from": at, "to": region.from_rpm, **none})
        words = WORDS[region.verdict]
        pieces.append(
            {"from": region.from_rpm, "to": region.to_rpm, "verdict": words, "text": f"{words} {name} after"}
        )
        at = region.to_rpm
    if at < high:
        pieces.append({"from": at, "to": high, **none})
    return pieces


def peak_marks(name: str, compared: ComparisonResult, shop: ShopProfile) -> list[dict[str, Any]]:
    """Return the mean peak of each side with the figure of the table; none if a peak may lie beyond."""
    result = compared.result
    if result is None or not result.bands:
        return []
    band, sides = result.bands[0], curves_by_side(compared, shop)
    if is_at_end(name, band, (*sides[0], *sides[1])):
        return []
    value = stored_value(band.peak_torque if name == "torque" else band.peak_power)
    unit = dict(QUANTITIES)[name]
    display = channel_display(f"{name}_{unit}", shop)
    labels = [series["label"] for series in comparison_series(compared, shop)]
    marks = []
    for side, height, text in zip(sides, (value.before, value.after), labels, strict=True):
        shown = float(display.show(np.array([height]))[0])
        x = float(np.mean([peak_rpm(name, curve) for curve in side]))
        is_lower = height < max(value.before, value.after)
        marks.append(
            {
                "label": text,
                "x": round(x),
                "y": round(shown, display.digits + 1),
                "text": format_number(shown, display.digits),
                "below": is_lower,
            }
        )
    return marks


def comparison_series(compared: ComparisonResult, shop: ShopProfile) -> list[dict[str, Any]]:
    chart = comparison_chart(compared, shop)
    return chart["panels"][0]["series"] if chart else []


# --- how sure


@dataclass(frozen=True)
class Dot:
    """The mean power of one run on a scale from 0 to ``WIDTH``."""

    name: str
    place: float
    value: str


@dataclass(frozen=True)
class DotRow:
    side: str
    dots: list[Dot]
    mean: float


@dataclass(frozen=True)
class RunDots:
    """Mean power of each run over a band, by side, with the ends of the scale as text."""

    title: str
    rows: list[DotRow]
    low: str
    high: str


def run_dots(compared: ComparisonResult, shop: ShopProfile) -> RunDots | None:
    """Return the mean power of every run over the first band."""
    result = compared.result
    if result is None or not result.bands:
        return None
    band, sides = result.bands[0], curves_by_side(compared, shop)
    low, high = measured_range(result)
    ends = max(low, band.from_rpm), min(high, band.to_rpm)
    means = [[mean_power_kw(curve, *ends) for curve in side] for side in sides]
    values = [value for side in means for value in side if np.isfinite(value)]
    if not values:
        return None
    # The scale spans at least 1 %, so that repeats which agree look alike.
    middle, span = (min(values) + max(values)) / 2, max(max(values) - min(values), 0.01 * max(values))
    start, width = middle - 0.6 * span, 1.2 * span
    unit = shop_unit(shop, "power")
    digits = 2

    def show(kw: float) -> str:
        return f"{format_number(convert(kw, 'kw', unit), digits)}{NO_BREAK_SPACE}{label(unit)}"

    def place(kw: float) -> float:
        return round(WIDTH * (kw - start) / width, 1)

    rows = [
        DotRow(
            side,
            [
                Dot(str(member.run), place(kw), show(kw))
                for member, kw in zip(members, found, strict=True)
                if np.isfinite(kw)
            ],
            place(float(np.mean(found))),
        )
        for side, members, found in zip(
            ("before", "after"), (compared.before, compared.after), means, strict=True
        )
    ]
    title = f"Mean power of each run, {format_number(ends[0])} to {format_number(ends[1])} rpm"
    return RunDots(title, rows, show(start), show(start + width))


def mean_power_kw(curve: Curve, from_rpm: float, to_rpm: float) -> float:
    inside = (curve.engine_speed_rpm >= from_rpm) & (curve.engine_speed_rpm <= to_rpm)
    speed: FloatArray = curve.engine_speed_rpm[inside]
    power = curve.power_kw[inside]
    if np.isfinite(power).sum() < 2:
        return float("nan")
    return float(integrate(speed, power) / integrate(speed, np.where(np.isfinite(power), 1.0, np.nan)))


# --- the roll-on


@dataclass(frozen=True)
class RoadMark:
    """A distance on the drawn road: its place from 0 to 600 and its figure."""

    place: float
    text: str


@dataclass(frozen=True)
class RoadPicture:
    """Where the bike is before and after the work at one instant; the last stretch, to scale."""

    before: RoadMark
    after: RoadMark
    low: float
    high: float
    lead: str
    verdict: Verdict
    ticks: list[RoadMark]

    @property
    def middle(self) -> float:
        return (self.before.place + self.after.place) / 2


ROAD = 600.0
ROAD_STEPS = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)


def road_picture(roll_on: RollOnResult | None, shop: ShopProfile) -> RoadPicture | None:
    """Return the drawing of a roll-on, or None if it has no result."""
    if roll_on is None or roll_on.result is None:
        return None
    value = stored_value(roll_on.result.lead)
    if not value.measured:
        return None
    unit = shop_unit(shop, "road_length")
    show: Callable[[float], str] = difference_formatter("m", shop)
    low, high = value.before + value.ci_low, value.before + value.ci_high
    first, last = min(value.before, value.after, low), max(value.before, value.after, high)
    span = max(last - first, 0.5)
    start, width = first - 0.35 * span, 1.6 * span

    def place(metres: float) -> float:
        return round(ROAD * (metres - start) / width, 1)

    in_unit = [convert(metres, "m", unit) for metres in (start, start + width)]
    step = next(step for step in ROAD_STEPS if (in_unit[1] - in_unit[0]) / step <= 8)
    digits = 0 if step >= 1 else 1
    count = int(np.floor(in_unit[1] / step)) - int(np.ceil(in_unit[0] / step)) + 1
    ticks = [
        RoadMark(
            round(ROAD * (tick - in_unit[0]) / (in_unit[1] - in_unit[0]), 1),
            f"{format_number(tick, digits)}{NO_BREAK_SPACE}{label(unit)}",
        )
        for tick in (step * (int(np.ceil(in_unit[0] / step)) + number) for number in range(count))
    ]
    way = "ahead" if value.difference > 0 else "behind"
    lead = f"{show(abs(value.difference))} {way}" if value.verdict in WORDS else "no clear lead"
    return RoadPicture(
        RoadMark(place(value.before), show(value.before)),
        RoadMark(place(value.after), show(value.after)),
        place(low),
        place(high),
        lead,
        value.verdict,
        ticks,
    )
