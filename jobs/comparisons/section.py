"""Comparisons on the job page; the verdicts are on the page of each comparison."""

from jobs.comparisons.compare import Group, runs_by_comparison
from jobs.comparisons.planning import describe_runs_needed
from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.models import Comparison, ComparisonRun, Run

TEMPLATE = "jobs/comparisons/_section.html"


def section(results: JobResults) -> Section:
    comparisons = results.get(runs_by_comparison)
    state, summary = section_state(comparisons)
    return Section(
        "comparisons",
        "Comparisons",
        state,
        summary,
        TEMPLATE,
        lambda: {
            "comparison_rows": [
                (comparison, count_runs(members)) for comparison, members in comparisons.items()
            ],
            "can_compare": sum(run.counts for run in results.rows(Run)) > 1,
            "runs_needed": "" if comparisons else describe_runs_needed(results.shop),
        },
        at=max((comparison.created_at for comparison in comparisons), default=None),
    )


def count_runs(members: list[ComparisonRun]) -> str:
    """Return the number of runs that count on both sides, as '3 runs before, 2 after'."""
    counts = {side: sum(m.group == side and m.run.counts for m in members) for side in Group}
    before, after = counts[Group.BEFORE], counts[Group.AFTER]
    return f"{before} run{'' if before == 1 else 's'} before, {after} after"


def section_state(comparisons: dict[Comparison, list[ComparisonRun]]) -> tuple[State, str]:
    if not comparisons:
        return State.EMPTY, "nothing compared yet"
    for comparison, members in comparisons.items():
        if any(not any(m.group == side and m.run.counts for m in members) for side in Group):
            return State.ATTENTION, f"“{comparison}” has no run left on one side"
    first, *others = comparisons
    runs = count_runs(comparisons[first])
    more = f" and {len(others)} more" if others else ""
    return State.DONE, f"{first}: {runs}{more}"
