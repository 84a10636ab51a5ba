"""Labels that a sheet stores in English and that are translated where they are shown."""

from jobs.calc.clearances.readings import ClearanceVerdict
from jobs.calc.clearances.shim_plan import BLADES_CANNOT_TELL
from jobs.calc.dyno.consistency import UNIT_REASONS
from jobs.calc.dyno.curve_difference import Verdict
from jobs.calc.mixture.fuel import FUELS
from jobs.calc.mixture.grid import UnusedReason
from jobs.calc.mixture.steady import ExclusionReason
from jobs.calc.mixture.warnings import GRAVE, NO_LONG_HOLDS
from jobs.defaults.change_kinds_and_checks import CHANGE_KINDS, CHECKS
from jobs.defaults.part_kinds import PART_KINDS
from jobs.job.registry import printed_records, records
from jobs.mixture.study import LOADS
from jobs.models import (
    Authorisation,
    CheckItem,
    ClearanceSet,
    DynoCheck,
    Job,
    Run,
    Stage,
    SuspensionSetting,
    Wish,
)
from jobs.models.clearances import ORIGIN_LABELS, POLICY_LABELS
from jobs.suspension.settings import ENDS, QUANTITIES, SPROCKETS, build_row, field_label
from reports.handover.snapshot import TITLES
from workshop.models import ClearanceKind, Customer, EngineSpec
from workshop.models.engines import POSITIONS
from workshop.models.shop import default_bands

CHOICES = (
    Authorisation.Answer,
    Authorisation.How,
    CheckItem.List,
    ClearanceKind,
    ClearanceSet.Cold,
    ClearanceSet.When,
    Customer.Experience,
    DynoCheck.Method,
    EngineSpec.Adjuster,
    Job.Fuel,
    Job.IntendedUse,
    Run.Kind,
    Stage,
    SuspensionSetting.When,
    Wish.Result,
)
VALUES = (ClearanceKind, ClearanceVerdict, ExclusionReason, UnusedReason, Verdict)
# What is not in a list of the product.
OTHERS = {
    *("no range", "yes", "no", "done", "not done"),
    *("front", "rear", "gearing", "sag, bike alone", "sag with rider", "stiction", "sag of the travel"),
    *("Time", "Distance", "Distance covered in the same time"),
    *("air temperature", "air pressure", "humidity of the air", "roller inertia or load cell"),
    *("slip of the tyre", "losses", "% relative humidity", "% of power", "K", "kPa"),
    *("ahead of before", "after, 95 % interval", "time", "s", "Grip", "Engine speed", "torque"),
    *("grip", "engine speed"),
    *BLADES_CANNOT_TELL.split(". "),
    *(f"This is the very {end} limit of its range" for end in ("lower", "upper")),
    *(f"{inside}, at {end} limit" for inside in ("in range", "on target") for end in ("lower", "upper")),
}


def find_labels() -> set[str]:
    """Return every label that a sheet may hold."""
    settings = [(end, name) for name in QUANTITIES for end in ENDS if name.startswith(end)]
    settings += [("gearing", name) for name in SPROCKETS]
    return {
        *(str(label) for choice in CHOICES for label in choice.labels),
        *(str(value) for enum in VALUES for value in enum),
        *POLICY_LABELS.values(),
        *ORIGIN_LABELS.values(),
        *(place for places in POSITIONS.values() for place in places),
        *(text for printed in printed_records() for text in (printed.heading, printed.title)),
        *TITLES.values(),
        *(record.looked_at for record in records()),
        *(band["name"] for band in default_bands()),
        *(fuel.name for fuel in FUELS.values()),
        *LOADS.values(),
        *(
            text
            for name, _for, _use, effect, _told, caution in PART_KINDS
            for text in (name, effect, caution)
        ),
        *(text for name, _u, _use, effect, _c, caution in CHANGE_KINDS for text in (name, effect, caution)),
        *(text for rows in CHECKS.values() for text, _caution in rows),
        *(GRAVE, NO_LONG_HOLDS, *UNIT_REASONS),
        *(build_row([], name, "", title).name for title, name in settings),
        *(
            field_label(name).split(" (")[0] if QUANTITIES.get(name) else field_label(name)
            for _, name in settings
        ),
        *OTHERS,
    } - {""}
