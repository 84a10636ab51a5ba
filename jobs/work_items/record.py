"""What agreed work contributes to a job."""

from jobs.job.page import Rows
from jobs.job.registry import Export, JobRecord
from jobs.models import Authorisation, WorkItem
from jobs.work_items.section import section

RECORD = JobRecord(
    "work",
    rows=(
        Rows(WorkItem, off_timeline="Agreed work has no time."),
        Rows(Authorisation, people=("asked_by",), off_timeline="A question changes nothing on the bike."),
    ),
    reads=(WorkItem, Authorisation),
    section=section,
    export=Export(money=frozenset({"price", "amount"})),
)
