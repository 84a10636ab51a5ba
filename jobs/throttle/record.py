"""What throttle tables contribute to a job."""

from jobs.job.page import Rows
from jobs.job.registry import JobRecord
from jobs.models import Run, ThrottleTable, TuneRevision
from jobs.throttle.section import section
from jobs.tunes.record import link_revisions

RECORD = JobRecord(
    "throttle",
    rows=(Rows(ThrottleTable, "revision__job", link=link_revisions),),
    reads=(ThrottleTable, TuneRevision, Run),
    section=section,
)
