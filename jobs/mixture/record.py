"""Contribution of mixture studies to a job."""

from jobs.job.page import Rows
from jobs.job.registry import JobRecord
from jobs.mixture.section import section
from jobs.models import MixtureStudy

RECORD = JobRecord(
    "mixture",
    rows=(Rows(MixtureStudy, people=("made_by",)),),
    reads=(MixtureStudy,),
    section=section,
)
