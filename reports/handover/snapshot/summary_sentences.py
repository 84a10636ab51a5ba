"""What was done, what changed and what was not tested, in plain words made from the records."""

from collections.abc import Iterable, Sequence

from jobs.calc.units.numbers import format_number
from jobs.comparisons.compare import ComparisonResult
from jobs.job.event import Event
from jobs.job.results import JobResults
from jobs.models import ClearanceReading, Run, SuspensionSetting
from jobs.suspension.settings import changed_settings
from jobs.timeline.events import changes
from reports.handover.snapshot.mixture import throttle_words
from reports.handover.snapshot.schema import (
    ClearanceFacts,
    ComparisonFacts,
    DriveFacts,
    PartFacts,
    RunFacts,
    Snapshot,
    TuneChangeFacts,
    TuneFacts,
    UntestedFacts,
    WorkFacts,
)
from workshop.models import ShopProfile
from workshop.units.shop_units import format_for_shop

NAMED = 6
LONG_VALUE = 24
NO_RUN = "No run was made on the roller: what the work did to power, mixture and throttle was not measured."


def counted(count: int, one: str, many: str = "") -> str:
    return f"{count} {one if count == 1 else many or one + 's'}"


def listed(names: Sequence[str], limit: int = NAMED) -> str:
    """Names in a row, the first few where there are many."""
    shown = list(names) if len(names) <= limit + 1 else [*names[:limit], f"and {len(names) - limit} more"]
    return "; ".join(shown)


def work_done(results: JobResults, snapshot: Snapshot) -> list[str]:
    """One sentence for each kind of work that was recorded."""
    said = [
        clearances_done(snapshot.clearances),
        parts_done(snapshot.parts),
        tune_done(snapshot.tune),
        *throttle_words(snapshot.throttle),
        suspension_done(results.rows(SuspensionSetting), results.shop),
        *(f"{change.kind}: {change.description}" for change in snapshot.bike_changes),
        runs_done(snapshot.runs),
    ]
    if not any(said):
        said.append(agreed_done(snapshot.brief.work))
    return [sentence[0].upper() + sentence[1:].rstrip(".") + "." for sentence in said if sentence]


def clearances_done(clearances: ClearanceFacts | None) -> str:
    if clearances is None:
        return ""
    new = sum(not row.stays for plan in clearances.plans if plan.booked_out_at for row in plan.rows)
    shims = f"; {counted(new, 'shim')} changed" if new else ""
    return f"Valve clearances: {clearances.summary or 'measured'}{shims}"


def parts_done(parts: Sequence[PartFacts]) -> str:
    if not parts:
        return ""
    names = [f"{part.name} (race use only)" if part.race_only else part.name for part in parts]
    return f"{counted(len(parts), 'part')} fitted: {listed(names)}"


def tune_done(tune: TuneFacts | None) -> str:
    if tune is None or not tune.in_bike:
        return ""
    made = [revision for revision in tune.revisions if revision.in_bike]
    if not made or made[0].label == "as received":
        return f"The calibration in the bike is the one {tune.in_bike}"
    revision = made[0]
    changed = [change_in_words(change) for change in revision.changes]
    title = f" ({revision.title})" if revision.title else ""
    what = f": {listed(changed, 4)}" if changed else ""
    return f"The calibration in the bike is {revision.label}{title}{what}"


def change_in_words(change: TuneChangeFacts) -> str:
    """'idle speed 1300 → 1450 1/min'; long values are left to the table."""
    name = f"{change.kind} ({change.detail})" if change.detail else change.kind
    if max(len(change.from_), len(change.to)) > LONG_VALUE:
        return name
    came = f"{change.from_} → " if change.from_ else ""
    return f"{name} {came}{change.to} {change.unit}".strip()


def suspension_done(settings: Sequence[SuspensionSetting], shop: ShopProfile) -> str:
    before: SuspensionSetting | None = None
    changed: list[str] = []
    for setting in settings:
        if setting.when == SuspensionSetting.When.AS_LEFT:
            changed += changed_settings(before, setting, shop)
        before = setting
    return f"Suspension and settings changed: {listed(changed, 4)}" if changed else ""


def runs_done(runs: Sequence[RunFacts]) -> str:
    if not runs:
        return ""
    aside = sum(bool(run.set_aside) for run in runs)
    return f"{counted(len(runs), 'run')} made on the roller" + (
        f", {aside} of them set aside" if aside else ""
    )


def agreed_done(work: Sequence[WorkFacts]) -> str:
    done = [item.description for item in work if item.done]
    return f"Work agreed and done: {listed(done)}" if done else ""


def what_changed(snapshot: Snapshot) -> list[str]:
    """At most three sentences: what the first comparison shows, else what the records say."""
    for comparison in snapshot.comparisons:
        sentences = [
            f"{band.name.capitalize()} ({format_number(band.from_rpm)} to "
            f"{format_number(band.to_rpm)} 1/min). " + band.figures[0].sentence
            for band in comparison.bands
            if band.figures
        ]
        if sentences:
            driven = [drive_words(comparison.drive_out)] if comparison.drive_out else []
            return [*[sentences[0], *driven, *sentences[1:]][:2], what_it_isolates(comparison)]
    said = [snapshot.clearances.summary] if snapshot.clearances else []
    said += throttle_words(snapshot.throttle)
    return [sentence[0].upper() + sentence[1:].rstrip(".") + "." for sentence in said if sentence][:3]


def drive_words(drive: DriveFacts) -> str:
    return f"Out of a turn ({drive.caption[0].lower()}{drive.caption[1:]}): {drive.lead}"


def what_it_isolates(comparison: ComparisonFacts) -> str:
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
    """What no run tells of, and what was tried only together with other things."""
    made = [run.made_at for run in runs if not run.set_aside]
    changed = changes(found)
    if not made:
        return [UntestedFacts(NO_RUN, [])] if changed else []
    last = max(made)
    since = [event.text for event in changed if event.at > last]
    said = [UntestedFacts("No run was made after this:", since)] if since else []
    said += alone_or_together([event for event in changed if event.at <= last], compared)
    for each in compared:
        if each.result is not None and each.result.assumed_pct is not None:
            title, share = each.comparison.title, each.result.assumed_pct
            said.append(
                UntestedFacts(
                    f"“{title}” has a single run on a side: {share:g} % of scatter is assumed, not measured.",
                    [],
                )
            )
    return said


def alone_or_together(changed: Sequence[Event], compared: Sequence[ComparisonResult]) -> list[UntestedFacts]:
    held = [[event.text for event in each.changes] for each in compared if each.result is not None]
    alone = {texts[0] for texts in held if len(texts) == 1}
    together = {text for texts in held for text in texts}
    mixed = [event.text for event in changed if event.text in together - alone]
    never = [event.text for event in changed if event.text not in together | alone]
    said = []
    if mixed:
        said.append(
            UntestedFacts("Tested only together, so that no one of these can be given the difference:", mixed)
        )
    if never:
        said.append(UntestedFacts("Not compared before and after:", never))
    return said


def next_service(results: JobResults) -> list[str]:
    """When the clearances are due again by the spec, counted from this job where they were measured."""
    job, shop, spec = results.job, results.shop, results.job.bike.engine_spec
    if spec is None or not results.rows(ClearanceReading):
        return []
    said = []
    if spec.check_interval_km:
        every = format_for_shop(spec.check_interval_km, "distance", shop)
        due = ""
        if job.odometer_km is not None:
            at = format_for_shop(job.odometer_km + spec.check_interval_km, "distance", shop)
            due = f", next at about {at} on the odometer"
        said.append(f"Valve clearances: check every {every}{due}.")
    if spec.check_interval_hours:
        due = ""
        if job.engine_hours is not None:
            due = f", next at about {format_number(job.engine_hours + spec.check_interval_hours)} h"
        said.append(f"Valve clearances: check every {spec.check_interval_hours} engine hours{due}.")
    if said and spec.source:
        said.append(f"Interval from {spec.source}.")
    return said
