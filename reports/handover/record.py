"""What issued sheets contribute to a job."""

from django.db.models import Count, Model, Q

from jobs.job.page import Rows
from jobs.job.registry import JobRecord, records
from jobs.models import Check, CheckItem, ClearanceReading, ClearanceSet, Run
from reports.handover.section import section
from reports.models import HandoverSheet


def road_use_models() -> list[type[Model]]:
    """List the models that causes for the road-use notice are made from."""
    return [model for record in records() if record.road_causes for model in record.reads]


# A sheet never changes but once, when its PDF is attached.
PRINTED = Count("pk", filter=~Q(sha256=""))

RECORD = JobRecord(
    "handover",
    rows=(Rows(HandoverSheet, defer=("snapshot",), changes=PRINTED),),
    reads=(HandoverSheet, Check, CheckItem, ClearanceSet, ClearanceReading, Run, *road_use_models()),
    section=section,
)
