"""A job and its records, one module a record."""

from jobs.models.authorisations import Authorisation
from jobs.models.checks import Check, CheckItem
from jobs.models.clearances import ClearanceReading, ClearanceSet, ShimPlan, ShimPlanRow
from jobs.models.contacts import ContactEntry
from jobs.models.dyno_checks import DynoCheck
from jobs.models.dyno_sessions import DynoSession
from jobs.models.handovers import Handover
from jobs.models.job import CLOSED_STAGES, BikeChange, Job, JobWord, Photo, Stage, StageEntry, WorkItem
from jobs.models.mixture import MixtureStudy
from jobs.models.parts import Part, PartKind
from jobs.models.receipts import SignedReceipt
from jobs.models.runs import Comparison, ComparisonRun, FileLayout, Run
from jobs.models.slots import CalendarAddress, ShutDays, Slot, SlotQuarter, WorkPlace
from jobs.models.suspension import SuspensionSetting
from jobs.models.tunes import ThrottleTable, TuneChange, TuneChangeKind, TuneRevision
from jobs.models.wish import Wish

__all__ = [
    "CLOSED_STAGES",
    "Authorisation",
    "BikeChange",
    "CalendarAddress",
    "Check",
    "CheckItem",
    "ClearanceReading",
    "ClearanceSet",
    "Comparison",
    "ComparisonRun",
    "ContactEntry",
    "DynoCheck",
    "DynoSession",
    "FileLayout",
    "Handover",
    "Job",
    "JobWord",
    "MixtureStudy",
    "Part",
    "PartKind",
    "Photo",
    "Run",
    "ShimPlan",
    "ShimPlanRow",
    "ShutDays",
    "SignedReceipt",
    "Slot",
    "SlotQuarter",
    "Stage",
    "StageEntry",
    "SuspensionSetting",
    "ThrottleTable",
    "TuneChange",
    "TuneChangeKind",
    "TuneRevision",
    "Wish",
    "WorkItem",
    "WorkPlace",
]
