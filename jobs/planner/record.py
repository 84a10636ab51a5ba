"""What slots contribute to a job."""

from jobs.job.page import Rows
from jobs.job.registry import JobRecord
from jobs.models import Slot, WorkPlace

RECORD = JobRecord("slots", rows=(Rows(Slot, join=("place",)),), shared=(Rows(WorkPlace, ""),))
