"""What parts contribute to a job."""

from collections.abc import Iterator

from django.utils.translation import gettext as _

from jobs.job.event import Event, EventKind
from jobs.job.page import Rows
from jobs.job.registry import BikeHistory, JobRecord
from jobs.job.results import JobResults
from jobs.models import BikeChange, Part, PartKind
from jobs.parts.facts import PARTS, parts_by_job, parts_done
from jobs.parts.on_bike import describe_removed, kept_key, part_causes, taken_off_keys
from jobs.parts.section import section


def events(results: JobResults) -> Iterator[Event]:
    for part in results.rows(Part):
        if part.fitted_at is not None:
            gone = part.replaces or describe_removed(part)
            values = {"part": part.name, "other": gone}
            text = _("%(part)s fitted in place of %(other)s") if gone else _("%(part)s fitted")
            text = text % values + (f" ({_(part.kind.name)})" if part.changes and part.kind else "")
            yield Event(
                part.fitted_at,
                EventKind.PART,
                text,
                changes_bike=True,
                item=kept_key(part),
                takes_off=taken_off_keys(part),
            )


def cautions(results: JobResults) -> Iterator[str]:
    """Yield what the rider has to watch because of the parts and other changes of this job."""
    kinds = [row.kind for row in results.rows(Part)] + [row.kind for row in results.rows(BikeChange)]
    yield from (_(kind.customer_caution) for kind in kinds if kind and kind.customer_caution)


RECORD = JobRecord(
    "parts",
    rows=(Rows(Part, join=("kind", "removes_part", "removes_change")),),
    shared=(Rows(PartKind, ""),),
    reads=(Part, BikeChange, PartKind),
    carries=(Part, BikeChange),
    section=section,
    events=events,
    road_causes=part_causes,
    looked_at="parts",
    cautions=cautions,
    printed=PARTS,
    done=parts_done,
    bike_history=BikeHistory(parts_by_job, "jobs/parts/_history.html"),
)
