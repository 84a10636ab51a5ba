"""Issued sheets as a record of a job."""

from django.db.models import Count, Q

from jobs.job.page import Rows
from jobs.job.registry import JobRecord
from reports.handover.section import all_carried, all_reads, next_steps, section, stored_blockers
from reports.models import HandoverSheet

# An issued sheet changes only once, when its PDF is attached.
PRINTED = Count("pk", filter=~Q(sha256=""))

RECORD = JobRecord(
    "handover",
    rows=(Rows(HandoverSheet, people=("issued_by",), defer=("snapshot", "signature"), changes=PRINTED),),
    reads=all_reads(),
    carries=all_carried(),
    section=section,
    blockers=stored_blockers,
    next_steps=next_steps,
)
