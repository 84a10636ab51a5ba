"""What handovers contribute to a job."""

from jobs.handing_over.facts import HANDOVERS, open_points_by_job
from jobs.job.page import Rows
from jobs.job.registry import BikeHistory, JobRecord
from jobs.models import Handover

RECORD = JobRecord(
    "handing_over",
    rows=(Rows(Handover, people=("by",), off_timeline="The stage that it leads to is on it."),),
    printed=HANDOVERS,
    bike_history=BikeHistory(open_points_by_job, "jobs/handing_over/_history.html"),
)
