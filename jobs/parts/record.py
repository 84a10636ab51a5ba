"""What parts contribute to a job."""

from collections.abc import Iterator

from jobs.job.event import Event, EventKind
from jobs.job.page import Rows
from jobs.job.registry import BikeHistory, JobRecord
from jobs.job.results import JobResults
from jobs.models import BikeChange, Part
from jobs.parts.facts import PARTS, parts_by_job, parts_done
from jobs.parts.section import section


def events(results: JobResults) -> Iterator[Event]:
    for part in results.rows(Part):
        if part.fitted_at is not None:
            instead = f" in place of {part.replaces}" if part.replaces else ""
            changed = f" (changes the {', the '.join(part.changes)})" if part.changes else ""
            text = f"{part.name} fitted{instead}{changed}"
            yield Event(part.fitted_at, EventKind.PART, text, changes_bike=True)


def road_causes(results: JobResults) -> Iterator[str]:
    for part in results.rows(Part):
        if part.race_only:
            yield f"{part.name} is marked for race use only."
        elif part.changes_exhaust or part.changes_intake:
            changed = " and ".join(kind for kind in part.changes if kind in ("exhaust", "intake"))
            yield f"{part.name} changes the {changed}: emissions and noise may no longer meet the law."


def cautions(results: JobResults) -> Iterator[str]:
    parts = results.rows(Part)
    if any(part.changes_brakes for part in parts):
        yield "Parts of the brakes were changed: brake gently until they have bedded in."
    if any(part.changes_gearing for part in parts):
        yield "The gearing was changed: the speedometer may show otherwise than before."


RECORD = JobRecord(
    "parts",
    rows=(Rows(Part),),
    reads=(Part, BikeChange),
    section=section,
    events=events,
    road_causes=road_causes,
    cautions=cautions,
    printed=PARTS,
    done=parts_done,
    bike_history=BikeHistory(parts_by_job, "jobs/parts/_history.html"),
)
