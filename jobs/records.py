"""The packages of the records: the ladder of imports, and the printed order."""

from importlib import import_module

from jobs.job.registry import register

# Lowest first: a package may import only those before it.
PACKAGES = (
    "job",
    "search",
    "planner",
    "booking",
    "handing_over",
    "work_items",
    "contacts",
    "intake",
    "parts",
    "tunes",
    "suspension",
    "clearances",
    "checklists",
    "timeline",
    "runs",
    "verification",
    "comparisons",
    "drive_force",
    "heat_soak",
    "mixture",
    "throttle",
    "ignition",
    "injectors",
    "wishes",
    "bikes",
    "job_page",
    "today",
)

# As on the job page, the sheet and the documents.
PRINTED_ORDER = (
    "wishes",
    "job_page",
    "planner",
    "intake",
    "work_items",
    "clearances",
    "parts",
    "tunes",
    "runs",
    "comparisons",
    "mixture",
    "throttle",
    "suspension",
    "timeline",
    "contacts",
    "checklists",
    "handing_over",
)


def register_records() -> None:
    for package in PRINTED_ORDER:
        register(import_module(f"jobs.{package}.record").RECORD)
