"""What agreed work contributes to a job."""

from jobs.job.page import Rows
from jobs.job.registry import JobRecord
from jobs.models import WorkItem

RECORD = JobRecord("work_items", rows=(Rows(WorkItem),))
