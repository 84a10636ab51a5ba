"""What changed, what was not tested and what comes next, as sentences made from the records."""

from collections.abc import Iterable, Sequence

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from jobs.calc.units.numbers import format_digits, format_number
from jobs.clearances.facts import CLEARANCES
from jobs.comparisons.compare import ComparisonResult
from jobs.comparisons.facts import BandFacts, ComparedValueFacts, ComparisonFacts, RollOnFacts
from jobs.job.event import Event
from jobs.job.results import JobResults
from jobs.job.sentences import lower_noun, upper_first
from jobs.models import ClearanceReading, Run
from jobs.throttle.facts import THROTTLE, modes_changed
from jobs.timeline.events import changes
from reports.handover.snapshot.schema import Snapshot, UntestedFacts
from workshop.units.shop_units import format_for_shop

NO_RUN = gettext_noop(
    "No dyno runs were made. The effect of the work on power, mixture and throttle was not measured."
)


def as_sentence(text: str) -> str:
    """Return a text with a capital letter and a period."""
    return upper_first(text).rstrip(".") + "."


def what_changed(snapshot: Snapshot) -> list[str]:
    """Return at most five sentences: the bike before the work against now, else what the records say."""
    overall = snapshot.overall
    if overall is not None:
        shown = clearest_torque(overall)
        where = overall.where[:1] if overall.differs else []
        driven = [describe_roll_on(overall.drive_out)] if overall.drive_out else []
        return [*where, *describe_torque(shown), *driven, attribution_sentence(overall)]
    clearances = snapshot.get(CLEARANCES)
    found = [clearances.summary] if clearances else []
    found += modes_changed(snapshot.get(THROTTLE))
    return [as_sentence(text) for text in found if text][:3]


def clearest_torque(comparison: ComparisonFacts | None) -> tuple[BandFacts, ComparedValueFacts] | None:
    """Return the band whose mean torque differs most, clearly if any does, else the first band."""
    means = [
        (band, figure)
        for band in (comparison.bands if comparison else ())
        for figure in band.figures
        if figure.quantity == "torque" and figure.label.startswith("Mean")
    ]
    clear = [row for row in means if row[1].verdict in ("more", "less")]
    if clear:
        return max(clear, key=lambda row: abs(row[1].difference_pct or 0))
    return means[0] if means else None


def describe_torque(shown: tuple[BandFacts, ComparedValueFacts] | None) -> list[str]:
    if shown is None:
        return []
    band, figure = shown
    values = {
        "band": upper_first(_(band.name)),
        "from": format_number(band.from_rpm),
        "to": format_number(band.to_rpm),
    }
    return [f"{_('%(band)s (%(from)s to %(to)s rpm).') % values} {figure.sentence}"]


def describe_roll_on(drive: RollOnFacts) -> str:
    values = {"conditions": lower_noun(drive.caption), "lead": drive.lead}
    return _("Roll-on out of a corner, calculated (%(conditions)s): %(lead)s") % values


def attribution_sentence(comparison: ComparisonFacts) -> str:
    changed = comparison.changes
    if len(changed) == 1:
        return _("Only one recorded change between these runs: %(change)s.") % {"change": changed[0].text}
    if not changed:
        return comparison.claim
    text = ngettext(
        "%(count)s thing was changed between these runs.",
        "%(count)s things were changed between these runs, "
        "so the difference cannot be credited to any one of them.",
        len(changed),
    )
    return text % {"count": len(changed)}


def not_tested(
    found: Sequence[Event], compared: Sequence[ComparisonResult], runs: Iterable[Run]
) -> list[UntestedFacts]:
    """Return what no run shows, and what was tried only together with other things."""
    made = [run.made_at for run in runs if not run.set_aside]
    changed = changes(found)
    if not made:
        return [UntestedFacts(_(NO_RUN), [])] if changed else []
    last = max(made)
    since = [event.text for event in changed if event.at > last]
    sentences = [UntestedFacts(_("No runs after this change:"), since)] if since else []
    sentences += tested_together_or_never([event for event in changed if event.at <= last], compared)
    for compared_runs in compared:
        if compared_runs.result is not None and compared_runs.result.assumed_pct is not None:
            values = {
                "title": compared_runs.comparison.title,
                "share": format_digits(compared_runs.result.assumed_pct),
            }
            text = _("“%(title)s” has too few repeats. A scatter of %(share)s %% is assumed, not measured.")
            sentences.append(UntestedFacts(text % values, []))
    return sentences


def tested_together_or_never(
    changed: Sequence[Event], compared: Sequence[ComparisonResult]
) -> list[UntestedFacts]:
    tested = [[event.text for event in result.changes] for result in compared if result.result is not None]
    alone = {texts[0] for texts in tested if len(texts) == 1}
    together = {text for texts in tested for text in texts}
    mixed = [event.text for event in changed if event.text in together - alone]
    never = [event.text for event in changed if event.text not in together | alone]
    sentences = []
    if mixed:
        sentences.append(
            UntestedFacts(
                _("Tested only together, so the difference cannot be credited to any one of these:"), mixed
            )
        )
    if never:
        sentences.append(UntestedFacts(_("No before-and-after comparison for:"), never))
    return sentences


def next_service(results: JobResults) -> list[str]:
    """Return when the clearances are due again by the spec, counted from this job if they were measured."""
    job, shop, spec = results.job, results.shop, results.job.bike.engine_spec
    if spec is None or not results.rows(ClearanceReading):
        return []
    sentences = []
    if spec.check_interval_km:
        values = {"every": format_for_shop(spec.check_interval_km, "distance", shop)}
        text = _("Valve clearances: check every %(every)s.")
        if job.odometer_km is not None:
            values["at"] = format_for_shop(job.odometer_km + spec.check_interval_km, "distance", shop)
            text = _("Valve clearances: check every %(every)s, next at about %(at)s on the odometer.")
        sentences.append(text % values)
    if spec.check_interval_hours:
        values = {"every": format_number(spec.check_interval_hours)}
        text = _("Valve clearances: check every %(every)s engine hours.")
        if job.engine_hours is not None:
            values["at"] = format_number(job.engine_hours + spec.check_interval_hours)
            text = _("Valve clearances: check every %(every)s engine hours, next at about %(at)s h.")
        sentences.append(text % values)
    if sentences and spec.source:
        sentences.append(_("Interval from %(source)s.") % {"source": spec.source})
    return sentences
