"""What agreed work contributes to a job."""

from jobs.job.page import Rows
from jobs.job.registry import Export, JobRecord
from jobs.models import WorkItem

RECORD = JobRecord(
    "work_items",
    rows=(Rows(WorkItem, off_timeline="Agreed work has no time."),),
    export=Export(money=frozenset({"price"})),
)
