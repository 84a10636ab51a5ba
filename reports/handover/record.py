"""Issued sheets as a record of a job."""

from django.db.models import Count, Q

from jobs.job.page import Rows
from jobs.job.registry import JobRecord
from reports.handover.section import all_carried, all_reads, section
from reports.models import HandoverSheet

# An issued sheet changes only once, when its PDF is attached.
PRINTED = Count("pk", filter=~Q(sha256=""))

RECORD = JobRecord(
    "handover",
    rows=(Rows(HandoverSheet, defer=("snapshot",), changes=PRINTED),),
    reads=all_reads(),
    carries=all_carried(),
    section=section,
)
