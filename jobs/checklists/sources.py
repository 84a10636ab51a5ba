"""What the checklists are made from."""

from jobs.models import (
    BikeChange,
    Check,
    CheckItem,
    ClearanceSet,
    DynoSession,
    Part,
    PartKind,
    SuspensionSetting,
    TuneRevision,
)

# What the lists are made from, beside the times of the runs: the answers, and what they are questioned by.
READS = (
    CheckItem,
    Check,
    DynoSession,
    TuneRevision,
    ClearanceSet,
    Part,
    BikeChange,
    PartKind,
    SuspensionSetting,
)
