"""What throttle tables contribute to a job."""

from jobs.job.page import Rows
from jobs.job.registry import Export, JobRecord
from jobs.models import Run, ThrottleTable, TuneRevision
from jobs.throttle.facts import THROTTLE, throttle_done
from jobs.throttle.section import section
from jobs.tunes.record import link_revisions
from jobs.tunes.throttle_tables import plates_csv

RECORD = JobRecord(
    "throttle",
    rows=(Rows(ThrottleTable, "revision__job", link=link_revisions, off_timeline="The event is its tune."),),
    reads=(ThrottleTable, TuneRevision, Run),
    section=section,
    printed=THROTTLE,
    done=throttle_done,
    export=Export(files={"throttle_plates.csv": lambda rows: plates_csv(rows.get(ThrottleTable, ()))}),
)
