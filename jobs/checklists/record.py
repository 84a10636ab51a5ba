"""What checklists contribute to a job."""

from jobs.checklists.facts import CHECKS
from jobs.checklists.section import section
from jobs.job.page import Rows
from jobs.job.registry import JobRecord
from jobs.models import Check, CheckItem, ClearanceReading, Run

RECORD = JobRecord(
    "checks",
    rows=(
        Rows(CheckItem, ""),
        Rows(Check, people=("by",), off_timeline="A tick changes nothing on the bike."),
    ),
    reads=(CheckItem, Check),
    needs_any=(ClearanceReading, Run),
    section=section,
    printed=CHECKS,
)
