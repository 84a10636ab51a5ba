"""What the customer's wishes contribute to a job."""

from jobs.job.page import Rows
from jobs.job.registry import JobRecord
from jobs.models import CheckItem, DynoSession, PartKind, TuneChangeKind, Wish
from jobs.wishes.evidence import KINDS
from jobs.wishes.facts import WISHES
from jobs.wishes.section import section

RECORD = JobRecord(
    "wishes",
    rows=(Rows(Wish, people=("answered_by",), off_timeline="A wish changes nothing on the bike."),),
    reads=(
        Wish,
        PartKind,
        TuneChangeKind,
        CheckItem,
        DynoSession,
        *(of.model for of in KINDS.values()),
    ),
    section=section,
    printed=WISHES,
)
