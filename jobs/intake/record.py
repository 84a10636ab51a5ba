"""What the check-in contributes to a job."""

from jobs.job.page import Rows
from jobs.job.registry import JobRecord
from jobs.models import Photo

RECORD = JobRecord("photos", rows=(Rows(Photo, off_timeline="A photo changes nothing on the bike."),))
