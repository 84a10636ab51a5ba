"""What slots contribute to a job."""

from jobs.job.page import Rows
from jobs.job.registry import Export, JobRecord
from jobs.models import Slot, SlotQuarter, WorkPlace

RECORD = JobRecord(
    "slots",
    rows=(Rows(Slot, join=("place",)),),
    shared=(Rows(WorkPlace, ""),),
    export=Export(left_out=(SlotQuarter,)),
)
