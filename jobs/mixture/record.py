"""Contribution of mixture studies to a job."""

from jobs.job.page import Rows
from jobs.job.registry import Export, JobRecord
from jobs.mixture.facts import MIXTURE
from jobs.mixture.section import section
from jobs.models import MixtureStudy

RECORD = JobRecord(
    "mixture",
    rows=(Rows(MixtureStudy, people=("made_by",), off_timeline="Computed from runs, which are on it."),),
    reads=(MixtureStudy,),
    section=section,
    printed=MIXTURE,
    export=Export(
        column_names={
            "rpm_axis": "engine_speed_axis_rpm",
            "load_axis": "load_axis_pct",
            "target": "target_lambda",
        }
    ),
)
