"""The steps of a talk-through: one topic each, made only if its record exists."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop

from jobs.clearances.facts import CLEARANCES
from jobs.job_page.facts import BRIEF
from jobs.mixture.facts import MIXTURE
from jobs.parts.facts import PARTS
from jobs.throttle.facts import THROTTLE
from jobs.tunes.facts import TUNE, TuneChangeFacts
from jobs.wishes.facts import WISHES
from reports.customer.page import road_advice, road_heading
from reports.customer.pictures import (
    Chart,
    charts,
    clearance_charts,
    comparison_charts,
    mixture_chart,
    mode_charts,
    modes_over_each_other,
    panel_charts,
    plate_chart,
    plate_line,
)
from reports.customer.sentences import (
    describe_mode,
    describe_regions,
    describe_result,
    describe_runs,
    describe_valves,
)
from reports.drawing.screen_charts import line_chart
from reports.handover.snapshot.schema import Snapshot

AS_RECEIVED = gettext_noop("as received")
SHOWN_STUDIES = 2


@dataclass(frozen=True)
class Step:
    """One topic: what is shown, and what the speaker may say about it."""

    key: str
    title: str
    lines: list[str] = field(default_factory=list)
    charts: list[Chart] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def is_filled(self) -> bool:
        return bool(self.lines or self.charts)


def asked(snapshot: Snapshot) -> Step:
    brief, wishes = snapshot.get(BRIEF), snapshot.get(WISHES)
    lines = [wish.text for wish in wishes] or [brief.asked]
    notes = [f"{wish.text} {describe_result(wish.result)}: {wish.answer}" for wish in wishes if wish.answer]
    return Step("asked", _("What you asked for"), lines, notes=[*notes, *([brief.asked] if wishes else [])])


def valves(snapshot: Snapshot) -> Step:
    clearances = snapshot.get(CLEARANCES)
    title = _("Valves")
    if clearances is None:
        return Step("valves", title)
    drawn = clearance_charts(clearances, snapshot.shop.units.length_unit)
    lines = [sentence for sentence in [describe_valves(clearances)] if sentence]
    return Step("valves", title, lines, drawn, [clearances.summary] if clearances.summary else [])


def parts(snapshot: Snapshot) -> Step:
    fitted = snapshot.get(PARTS)
    lines = [
        _("%(part)s, in place of %(replaced)s") % {"part": part.name, "replaced": part.replaces}
        if part.replaces
        else part.name
        for part in fitted
    ]
    return Step("parts", _("Parts"), lines, notes=[part.note for part in fitted if part.note])


def received(snapshot: Snapshot) -> Step:
    """Show what the tune did that the bike came with."""
    throttle = snapshot.get(THROTTLE)
    title = _("The tune that it came with")
    if throttle is None:
        return Step("received", title)
    lines = [
        plate_line(table, mode.mode, "before")
        for mode in throttle.modes
        for table in mode.tables
        if table.before
    ]
    label = _("Throttle plate by grip, as received")
    drawn = charts(Chart(label, line_chart(plate_chart(lines), label)))
    return Step(
        "received",
        title,
        [held.sentence for held in throttle.held if held.tune in (AS_RECEIVED, _(AS_RECEIVED))],
        drawn,
    )


def held(snapshot: Snapshot) -> Step:
    throttle = snapshot.get(THROTTLE)
    found = throttle.held if throttle else []
    return Step("held", _("Grip held still"), [f"{held.tune}: {held.sentence}" for held in found])


def tune(snapshot: Snapshot) -> Step:
    changes = tune_changes(snapshot)
    return Step(
        "tune",
        _("What we changed in the tune"),
        [describe_change(c) for c in changes],
        notes=reasons(changes),
    )


def modes(snapshot: Snapshot) -> Step:
    throttle = snapshot.get(THROTTLE)
    found = throttle.modes if throttle else []
    suits = [f"{mode.mode}: {mode.for_whom}" for mode in found if mode.for_whom]
    lines = [*suits, *filter(None, map(describe_mode, found))]
    drawn = [*modes_over_each_other(found), *mode_charts(found)]
    return Step("modes", _("Riding modes, and who each suits"), lines, drawn, reasons(tune_changes(snapshot)))


def grip(snapshot: Snapshot) -> Step:
    throttle = snapshot.get(THROTTLE)
    torque = throttle.torque if throttle else None
    title = _("Torque by grip")
    if torque is None:
        return Step("grip", title)
    return Step("grip", title, [], panel_charts(torque.chart, _("torque"), _("grip, %")))


def mixture(snapshot: Snapshot) -> Step:
    studies = snapshot.get(MIXTURE)
    shown = studies if len(studies) <= SHOWN_STUDIES else [studies[0], studies[-1]]
    drawn = [chart for study in shown for chart in mixture_chart(study)]
    lines = [f"{study.title}: {study.standing}" for study in shown if study.standing]
    notes = [sentence for study in shown for sentence in study.grave]
    return Step("mixture", _("Mixture"), lines, drawn, notes)


def curves(snapshot: Snapshot) -> Step:
    comparison, title = snapshot.overall, _("Torque and power")
    if comparison is None or comparison.curves is None:
        return Step("curves", title)
    lines = [describe_regions(comparison.curves, name) for name in ("torque", "power")]
    notes = [comparison.claim, *(f"{change.text}" for change in comparison.changes)]
    drawn = comparison_charts(comparison, snapshot.shop.units)
    return Step("curves", title, [*lines, describe_runs(comparison)], drawn, [note for note in notes if note])


def corner(snapshot: Snapshot) -> Step:
    comparison, title = snapshot.overall, _("Roll-on out of a corner")
    drive = comparison.drive_out if comparison else None
    if drive is None:
        return Step("corner", title)
    drawn = panel_charts(drive.chart, _("lead"), _("time, s"))
    return Step("corner", title, [drive.lead], drawn, [drive.caption, *drive.notes])


def road(snapshot: Snapshot) -> Step:
    notices = snapshot.notices
    lines = [road_heading(notices), road_advice(notices), *notices.causes]
    return Step("road", _("Use on public roads"), lines, notes=[notices.lead, *notices.cautions])


def next_service(snapshot: Snapshot) -> Step:
    service = snapshot.next_service
    return Step(
        "next", _("Next service and what to watch"), [*filter(None, [service.note]), *service.derived]
    )


# In the order of a talk; the name is for the list in which the tuner chooses.
STEPS: dict[str, tuple[object, Callable[[Snapshot], Step]]] = {
    "asked": (gettext_lazy("What you asked for"), asked),
    "valves": (gettext_lazy("Valves"), valves),
    "parts": (gettext_lazy("Parts"), parts),
    "received": (gettext_lazy("The tune that it came with"), received),
    "held": (gettext_lazy("Grip held still"), held),
    "tune": (gettext_lazy("What we changed in the tune"), tune),
    "modes": (gettext_lazy("Riding modes, and who each suits"), modes),
    "grip": (gettext_lazy("Torque by grip"), grip),
    "mixture": (gettext_lazy("Mixture"), mixture),
    "curves": (gettext_lazy("Torque and power"), curves),
    "corner": (gettext_lazy("Roll-on out of a corner"), corner),
    "road": (gettext_lazy("Use on public roads"), road),
    "next": (gettext_lazy("Next service and what to watch"), next_service),
}


def tune_changes(snapshot: Snapshot) -> list[TuneChangeFacts]:
    facts = snapshot.get(TUNE)
    revisions = facts.revisions if facts else []
    return [change for revision in revisions if revision.in_bike for change in revision.changes]


def describe_change(change: TuneChangeFacts) -> str:
    detail = f" ({change.detail})" if change.detail else ""
    values = f"{change.from_} → {change.to}" if change.from_ else change.to
    return f"{change.kind}{detail}: {values} {change.unit}".strip()


def reasons(changes: Sequence[TuneChangeFacts]) -> list[str]:
    return [f"{change.kind}: {change.reason}" for change in changes if change.reason]


def build_steps(snapshot: Snapshot, chosen: Sequence[str] | None = None) -> list[Step]:
    """Return the steps that have a record, in the chosen order; None means all in the usual order."""
    keys = STEPS if chosen is None else [key for key in chosen if key in STEPS]
    return list(filled(snapshot, list(keys)))


def filled(snapshot: Snapshot, keys: Sequence[str]) -> Iterator[Step]:
    for key in keys:
        _name, build = STEPS[key]
        step = build(snapshot)
        if step.is_filled:
            yield step
