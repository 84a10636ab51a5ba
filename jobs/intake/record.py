"""What the check-in contributes to a job."""

from django.db.models import Count, Q

from jobs.job.page import Rows
from jobs.job.registry import JobRecord
from jobs.models import Photo, SignedReceipt

# A signed receipt changes only once, when its PDF is attached.
PRINTED = Count("pk", filter=~Q(sha256=""))

RECORD = JobRecord(
    "photos",
    rows=(
        Rows(Photo, off_timeline="A photo changes nothing on the bike."),
        Rows(
            SignedReceipt,
            people=("taken_by",),
            defer=("pictures",),
            changes=PRINTED,
            off_timeline="A signature changes nothing on the bike.",
            off_sheet="The receipt is a document of its own.",
        ),
    ),
)
