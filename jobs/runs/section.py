"""Runs section of the job page: counts by tune and files waiting; curves are on their own page."""

from collections import Counter

from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.models import Run

TEMPLATE = "jobs/runs/_section.html"
KIND_WORDS = {
    Run.Kind.SWEEP: ("sweep", "sweeps"),
    Run.Kind.HELD: ("held-throttle run", "held-throttle runs"),
    Run.Kind.IDLE: ("idle run", "idle runs"),
    Run.Kind.COAST: ("coast-down", "coast-downs"),
    Run.Kind.OTHER: ("other run", "other runs"),
}


def section(results: JobResults) -> Section:
    runs = results.rows(Run)
    state, summary = section_state(runs)
    latest = runs[-1] if runs else None
    return Section(
        "runs",
        "Runs",
        state,
        summary,
        TEMPLATE,
        lambda: {
            "runs_by_tune": by_tune(runs),
            "runs_waiting": [run for run in runs if run.status != Run.Status.READ and not run.set_aside],
            "runs_aside": sum(run.set_aside for run in runs),
            "latest_run": latest,
        },
        who=str(latest.made_by) if latest else "",
        at=latest.made_at if latest else None,
    )


def describe_counts(runs: list[Run]) -> str:
    """Count runs by kind, as '3 sweeps, 1 held run'."""
    counts = Counter(Run.Kind(run.kind) for run in runs)
    return ", ".join(
        f"{counts[kind]} {words[counts[kind] != 1]}" for kind, words in KIND_WORDS.items() if counts[kind]
    )


def by_tune(runs: list[Run]) -> list[tuple[str, str]]:
    """Return the counts of the runs that count, by the tune loaded."""
    found: dict[str, list[Run]] = {}
    for run in runs:
        if run.counts:
            found.setdefault(
                run.tune_revision.label if run.tune_revision else "tune not recorded", []
            ).append(run)
    return [(tune, describe_counts(group)) for tune, group in found.items()]


def section_state(runs: list[Run]) -> tuple[State, str]:
    if not runs:
        return State.EMPTY, "no runs yet"
    used = [run for run in runs if not run.set_aside]
    to_name = sum(run.status == Run.Status.TO_NAME for run in used)
    refused = sum(run.status == Run.Status.REFUSED for run in used)
    if to_name or refused:
        parts = [
            f"{to_name} to be confirmed" if to_name else "",
            f"{refused} cannot be read" if refused else "",
        ]
        return State.ATTENTION, ", ".join(part for part in parts if part)
    without_air = sum(not run.has_air for run in used if run.kind == Run.Kind.SWEEP)
    if without_air:
        return (
            State.ATTENTION,
            f"{without_air} sweep{'' if without_air == 1 else 's'} without air data",
        )
    return State.DONE, describe_counts(used)
