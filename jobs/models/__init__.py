"""A job and its records, one module a record."""

from jobs.models.checks import Check, CheckItem
from jobs.models.clearances import ClearanceReading, ClearanceSet, ShimPlan, ShimPlanRow
from jobs.models.job import CLOSED_STAGES, BikeChange, Job, Photo, Stage, StageEntry, WorkItem
from jobs.models.mixture import MixtureStudy
from jobs.models.parts import Part
from jobs.models.runs import Comparison, ComparisonRun, FileLayout, Run
from jobs.models.suspension import SuspensionSetting
from jobs.models.tunes import ThrottleTable, TuneChange, TuneChangeKind, TuneRevision

__all__ = [
    "CLOSED_STAGES",
    "BikeChange",
    "Check",
    "CheckItem",
    "ClearanceReading",
    "ClearanceSet",
    "Comparison",
    "ComparisonRun",
    "FileLayout",
    "Job",
    "MixtureStudy",
    "Part",
    "Photo",
    "Run",
    "ShimPlan",
    "ShimPlanRow",
    "Stage",
    "StageEntry",
    "SuspensionSetting",
    "ThrottleTable",
    "TuneChange",
    "TuneChangeKind",
    "TuneRevision",
    "WorkItem",
]
