"""What slots contribute to a job."""

from jobs.job.page import Rows
from jobs.job.registry import Export, JobRecord
from jobs.models import Slot, SlotQuarter, WorkPlace

RECORD = JobRecord(
    "slots",
    rows=(
        Rows(
            Slot,
            join=("place",),
            people=("person",),
            off_timeline="A plan, and nothing that happened.",
            off_sheet="The plan is the shop's own.",
        ),
    ),
    shared=(Rows(WorkPlace, ""),),
    export=Export(left_out=(SlotQuarter,)),
)
