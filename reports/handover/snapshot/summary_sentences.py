"""What changed, what was not tested and what comes next, as sentences made from the records."""

from collections.abc import Iterable, Sequence

from jobs.calc.units.numbers import format_number
from jobs.clearances.facts import CLEARANCES
from jobs.comparisons.compare import ComparisonResult
from jobs.comparisons.facts import COMPARISONS, ComparisonFacts, RollOnFacts
from jobs.job.event import Event
from jobs.job.results import JobResults
from jobs.models import ClearanceReading, Run
from jobs.throttle.facts import THROTTLE, modes_changed
from jobs.timeline.events import changes
from reports.handover.snapshot.schema import Snapshot, UntestedFacts
from workshop.units.shop_units import format_for_shop

NO_RUN = "No run was made on the roller: what the work did to power, mixture and throttle was not measured."


def as_sentence(text: str) -> str:
    """Return a text with a capital letter and a period."""
    return text[0].upper() + text[1:].rstrip(".") + "."


def what_changed(snapshot: Snapshot) -> list[str]:
    """Return at most four sentences: what the first comparison shows, else what the records say."""
    for comparison in snapshot.get(COMPARISONS):
        sentences = [
            f"{band.name.capitalize()} ({format_number(band.from_rpm)} to "
            f"{format_number(band.to_rpm)} 1/min). " + band.figures[0].sentence
            for band in comparison.bands
            if band.figures
        ]
        if sentences:
            driven = [describe_roll_on(comparison.drive_out)] if comparison.drive_out else []
            where = comparison.where[:1] if comparison.differs else []
            found = [*where, sentences[0], *driven, *sentences[1:]]
            return [*found[: 2 + len(where)], attribution_sentence(comparison)]
    clearances = snapshot.get(CLEARANCES)
    found = [clearances.summary] if clearances else []
    found += modes_changed(snapshot.get(THROTTLE))
    return [as_sentence(text) for text in found if text][:3]


def describe_roll_on(drive: RollOnFacts) -> str:
    return f"Out of a turn ({drive.caption[0].lower()}{drive.caption[1:]}): {drive.lead}"


def attribution_sentence(comparison: ComparisonFacts) -> str:
    changed = comparison.changes
    if len(changed) == 1:
        return f"Only one thing was changed between these runs: {changed[0].text}."
    if not changed:
        return comparison.claim
    many = len(changed)
    return f"{many} things were changed between these runs: the difference belongs to all of them together."


def not_tested(
    found: Sequence[Event], compared: Sequence[ComparisonResult], runs: Iterable[Run]
) -> list[UntestedFacts]:
    """Return what no run shows, and what was tried only together with other things."""
    made = [run.made_at for run in runs if not run.set_aside]
    changed = changes(found)
    if not made:
        return [UntestedFacts(NO_RUN, [])] if changed else []
    last = max(made)
    since = [event.text for event in changed if event.at > last]
    sentences = [UntestedFacts("No run was made after this:", since)] if since else []
    sentences += tested_together_or_never([event for event in changed if event.at <= last], compared)
    for compared_runs in compared:
        if compared_runs.result is not None and compared_runs.result.assumed_pct is not None:
            title, share = compared_runs.comparison.title, compared_runs.result.assumed_pct
            sentences.append(
                UntestedFacts(
                    f"“{title}” has too few repeats: {share:g} % of scatter is assumed, not measured.",
                    [],
                )
            )
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
            UntestedFacts("Tested only together, so that no one of these can be given the difference:", mixed)
        )
    if never:
        sentences.append(UntestedFacts("Not compared before and after:", never))
    return sentences


def next_service(results: JobResults) -> list[str]:
    """Return when the clearances are due again by the spec, counted from this job if they were measured."""
    job, shop, spec = results.job, results.shop, results.job.bike.engine_spec
    if spec is None or not results.rows(ClearanceReading):
        return []
    sentences = []
    if spec.check_interval_km:
        every = format_for_shop(spec.check_interval_km, "distance", shop)
        due = ""
        if job.odometer_km is not None:
            at = format_for_shop(job.odometer_km + spec.check_interval_km, "distance", shop)
            due = f", next at about {at} on the odometer"
        sentences.append(f"Valve clearances: check every {every}{due}.")
    if spec.check_interval_hours:
        due = ""
        if job.engine_hours is not None:
            due = f", next at about {format_number(job.engine_hours + spec.check_interval_hours)} h"
        sentences.append(f"Valve clearances: check every {spec.check_interval_hours} engine hours{due}.")
    if sentences and spec.source:
        sentences.append(f"Interval from {spec.source}.")
    return sentences
