"""The packages of the records, lowest first: each may import those before it."""

PACKAGES = (
    "job",
    "search",
    "planner",
    "booking",
    "work_items",
    "intake",
    "parts",
    "tunes",
    "suspension",
    "clearances",
    "checklists",
    "timeline",
    "runs",
    "comparisons",
    "mixture",
    "throttle",
    "bikes",
    "today",
    "job_page",
)
