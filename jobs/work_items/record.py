"""What agreed work contributes to a job."""

from jobs.job.page import Rows
from jobs.job.registry import Export, JobRecord
from jobs.models import Authorisation, WorkItem

RECORD = JobRecord(
    "work_items",
    rows=(
        Rows(WorkItem, off_timeline="Agreed work has no time."),
        Rows(Authorisation, people=("asked_by",), off_timeline="A question changes nothing on the bike."),
    ),
    export=Export(money=frozenset({"price", "amount"})),
)
