"""What the page "How we know" shows, from a snapshot: titles that are findings, marks, maps and answers."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from jobs.calc.units.numbers import format_number
from jobs.clearances.facts import CLEARANCES
from jobs.comparisons.facts import BandFacts, ComparedValueFacts, ComparisonFacts
from jobs.job.sentences import lower_first, upper_first
from jobs.mixture.facts import MixtureFacts
from jobs.mixture.tables import shade_class
from jobs.throttle.facts import THROTTLE, ModeFacts
from reports.drawing.pictures import Picture, change_axis, change_mark, change_span, latest_table
from reports.handover import story
from reports.handover.snapshot.schema import Snapshot

GRIPS = (5.0, 10.0, 25.0, 50.0, 75.0, 100.0)  # at which the table of the riding modes has numbers [%]
MAX_MAP_COLUMNS = 9  # two maps side by side
MAX_BANDS = 4


@dataclass(frozen=True)
class MarkRow:
    """A compared value with its mark on the scale of changes."""

    figure: ComparedValueFacts
    mark: Picture
    word: str
    is_clear: bool


@dataclass(frozen=True)
class MarkBand:
    title: str
    rows: list[MarkRow]


@dataclass(frozen=True)
class MapCell:
    text: str
    css_class: str


@dataclass(frozen=True)
class MapRow:
    load: float
    cells: list[MapCell]
    target: float | None = None


@dataclass(frozen=True)
class MixtureMap:
    """A mixture map as a table."""

    title: str
    load: str
    speeds: list[float]
    rows: list[MapRow]
    targets: bool = False
    is_wide: bool = False


@dataclass(frozen=True)
class ModeRow:
    """Plate at the grips of the table, of one mode before or now."""

    name: str
    values: list[float]
    is_now: bool


@dataclass(frozen=True)
class Evidence:
    """Everything on the page but its pictures; empty parts are left out."""

    power_title: str = ""
    runs: str = ""
    marks: list[MarkBand] = field(default_factory=list)
    axis: Picture | None = None
    clearance_title: str = ""
    maps: list[MixtureMap] = field(default_factory=list)
    mixture_title: str = ""
    map_notes: list[str] = field(default_factory=list)
    modes_title: str = ""
    grips: tuple[float, ...] = GRIPS
    mode_rows: list[ModeRow] = field(default_factory=list)
    answers: list[tuple[str, str]] = field(default_factory=list)
    is_shown: bool = False


def build_evidence(snapshot: Snapshot, *, clearances_on_first: bool) -> Evidence:
    """Return the contents of the page; ``is_shown`` is False if nothing is left for it."""
    overall, throttle = snapshot.overall, snapshot.get(THROTTLE)
    span = change_span(overall) if overall else (-1.0, 1.0)
    marks = [*mark_bands(overall, span)] if overall else []
    before, now = story.mixture_before_and_now(snapshot)
    studies = [study for study in (before, now) if study]
    modes = [mode for mode in (throttle.modes if throttle else []) if mode.tables]
    clearances = snapshot.get(CLEARANCES)
    shows_clearances = bool(clearances and clearances.rows) and not clearances_on_first
    answers = [*short_answers(snapshot)]
    return Evidence(
        power_title=power_title(snapshot),
        runs=describe_runs(overall) if overall else "",
        marks=marks,
        axis=change_axis(span) if marks else None,
        clearance_title=clearance_title(snapshot) if shows_clearances else "",
        maps=[*mixture_maps(before, now)],
        mixture_title=mixture_title(before, now),
        map_notes=[*map_notes(studies)],
        modes_title=modes_title(modes),
        mode_rows=[*mode_rows(modes)],
        answers=answers,
        is_shown=bool(overall or shows_clearances or studies or modes or answers),
    )


# --- power and torque


def mark_bands(comparison: ComparisonFacts, span: tuple[float, float]) -> Iterator[MarkBand]:
    for number, band in enumerate(comparison.bands[:MAX_BANDS]):
        rows = [
            MarkRow(
                figure,
                change_mark(figure, f"{number}-{order}", span),
                story.verdict_word(figure.verdict),
                figure.verdict in story.CLEAR_VERDICTS,
            )
            for order, figure in enumerate(band.figures)
        ]
        if rows:
            name = upper_first(_(band.name)) if band.name else _("Band")
            yield MarkBand(f"{name}, {format_ends(band)}", rows)


def format_ends(band: BandFacts) -> str:
    ends = {"low": format_number(band.from_rpm), "high": format_number(band.to_rpm)}
    return _("%(low)s to %(high)s rpm") % ends


def describe_runs(comparison: ComparisonFacts) -> str:
    before, after = len(comparison.before_runs), len(comparison.after_runs)
    first = ngettext("%(count)s run before", "%(count)s runs before", before) % {"count": before}
    return f"{first}, {ngettext('%(count)s after', '%(count)s after', after) % {'count': after}}."


def power_title(snapshot: Snapshot) -> str:
    """Return the finding of the comparison as a heading."""
    shown = story.clearest(snapshot)
    if shown is None:
        return _("Power and torque")
    band, figure = shown
    ends = {"ends": format_ends(band)}
    if figure.verdict == "more":
        return _("Power and torque: mean torque is higher from %(ends)s") % ends
    if figure.verdict == "less":
        return _("Power and torque: mean torque is lower from %(ends)s") % ends
    return _("Power and torque: no clear difference in mean torque")


# --- clearances, mixture, modes


def clearance_title(snapshot: Snapshot) -> str:
    topic = next(story.clearance_topics(snapshot.get(CLEARANCES)), None)
    if topic is None:
        return ""
    values = {"before": lower_first(topic.before), "now": lower_first(topic.now)}
    return _("Valve clearances. Before: %(before)s. Now: %(now)s") % values


def mixture_title(before: MixtureFacts | None, now: MixtureFacts | None) -> str:
    texts = ((_("before: %(result)s"), before), (_("now: %(result)s"), now))
    found = [text % {"result": story.describe_mixture(study)} for text, study in texts if study]
    return _("Mixture, %(results)s") % {"results": "; ".join(found)}


def mixture_maps(before: MixtureFacts | None, now: MixtureFacts | None) -> Iterator[MixtureMap]:
    """Yield the maps of deviations, two side by side if both are narrow enough."""
    drawn = [
        (name, study)
        for name, study in ((_("Before"), before), (_("Now"), now))
        if study and study.result and len(study.engine_speed_rpm) <= MAX_MAP_COLUMNS
    ]
    for order, (name, study) in enumerate(drawn, 1):
        yield deviation_map(study, name, with_targets=order == len(drawn))


def deviation_map(study: MixtureFacts, name: str, *, with_targets: bool) -> MixtureMap:
    """Return how far each cell is from its target, in percent; a dot is on target."""
    result: dict[str, Any] = study.result or {}
    high_load = float((study.settings or {}).get("high_load_pct") or 101)
    lean_share = float((study.settings or {}).get("lean_share") or 1)
    rows = []
    for load, off_row, target_row in zip(study.load_pct, result["off"], result["target"], strict=True):
        cells = [
            deviation_cell(off, is_grave=off is not None and load >= high_load and off >= lean_share)
            for off in off_row
        ]
        same = len({value for value in target_row if value is not None}) == 1
        rows.append(MapRow(load, cells, target_row[0] if same else None))
    rows.reverse()  # the highest load on top, as in a chart
    targets = with_targets and all(row.target is not None for row in rows)
    title = _("%(name)s, %(load)s over rpm") % {"name": name, "load": _(study.load)}
    return MixtureMap(title, study.load, study.engine_speed_rpm, rows, targets)


def deviation_cell(off: float | None, *, is_grave: bool) -> MapCell:
    if off is None:
        return MapCell("", "heat-none")
    shade = shade_class(off)
    text = "·" if shade == "heat-on" else format_number(100 * off, 1, signed=True)
    return MapCell(text, f"{shade} grave" if is_grave else shade)


def measured_map(study: MixtureFacts) -> MixtureMap | None:
    """Return lambda with its half-width in every cell, for the annex; in brackets: too few holds."""
    result: dict[str, Any] = study.result or {}
    if not result:
        return None
    halves = result.get("half_width_95") or [[None] * len(study.engine_speed_rpm)] * len(study.load_pct)
    rows = [
        MapRow(load, [measured_cell(*cell) for cell in zip(*grids, strict=True)])
        for load, *grids in zip(
            study.load_pct, result["mean"], halves, result["off"], result["few"], strict=True
        )
    ]
    return MixtureMap(study.title, study.load, study.engine_speed_rpm, rows[::-1], is_wide=True)


def measured_cell(mean: float | None, half: float | None, off: float | None, few: bool) -> MapCell:
    if mean is None:
        return MapCell("–", "heat-none")
    text = format_number(mean, 3) + (f" ± {format_number(half, 3)}" if half is not None and half < 1 else "")
    return MapCell(f"({text})" if few else text, shade_class(off))


def map_notes(studies: Sequence[MixtureFacts]) -> Iterator[str]:
    fuels = list(dict.fromkeys(study.fuel for study in studies if study.fuel))
    if fuels:
        text = _("Measured against the target of each cell, on the dyno with %(fuels)s.")
        yield text % {"fuels": ", ".join(map(_, fuels))}
    else:
        yield _("Measured against the target of each cell, on the dyno; the fuel is not recorded.")
    if any(study.engine_speed_rpm for study in studies):
        top = max(speed for study in studies for speed in study.engine_speed_rpm)
        yield _("Not measured above %(speed)s rpm.") % {"speed": format_number(top)}


def modes_title(modes: Sequence[ModeFacts]) -> str:
    changed = [mode.mode for mode in modes if mode.changed]
    if not changed:
        return _("Riding modes: not changed")
    if len(changed) == len(modes):
        return _("Riding modes: %(modes)s changed") % {"modes": ", ".join(changed)}
    return _("Riding modes: %(modes)s changed, the others are as they were") % {"modes": ", ".join(changed)}


def mode_rows(modes: Sequence[ModeFacts]) -> Iterator[ModeRow]:
    for mode in modes:
        before = next((table for table in mode.tables if table.before), None)
        if before:
            name = _("%(mode)s, before") % {"mode": mode.mode}
            yield ModeRow(name, [story.plate_at(before, grip) for grip in GRIPS], is_now=False)
        now = latest_table(mode)
        name = (_("%(mode)s, now") if before else _("%(mode)s, not changed")) % {"mode": mode.mode}
        yield ModeRow(name, [story.plate_at(now, grip) for grip in GRIPS], is_now=True)


def short_answers(snapshot: Snapshot) -> Iterator[tuple[str, str]]:
    """Yield further findings as question and answer; the annex has their tables."""
    throttle, overall = snapshot.get(THROTTLE), snapshot.overall
    if throttle:
        if throttle.held:
            last = throttle.held[-1]
            yield (
                _("Does the plate hold at a steady grip?"),
                f"{upper_first(last.tune)}: {last.sentence}",
            )
        if throttle.idle_change or throttle.idle:
            yield _("Idle"), throttle.idle_change or throttle.idle[-1].sentence
        if throttle.braking and throttle.braking.change:
            yield _("Engine braking"), throttle.braking.change
    if overall and overall.drive_out:
        drive = overall.drive_out
        yield _("Calculated roll-on, not ridden"), f"{drive.caption}. {drive.lead}"
