"""What mixture studies contribute to a job."""

from jobs.job.page import Rows
from jobs.job.registry import JobRecord
from jobs.mixture.section import section
from jobs.models import MixtureStudy

RECORD = JobRecord(
    "mixture",
    rows=(Rows(MixtureStudy),),
    reads=(MixtureStudy,),
    section=section,
)
