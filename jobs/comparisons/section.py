"""Comparisons on the job page; the verdicts are on the page of each comparison."""

from jobs.comparisons.compare import Group, runs_by_comparison
from jobs.comparisons.planning import describe_runs_needed
from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.models import Comparison, ComparisonRun, Run

TEMPLATE = "jobs/comparisons/_section.html"


def section(results: JobResults) -> Section:
    comparisons = results.get(runs_by_comparison)
    rows = [(comparison, count_runs(members)) for comparison, members in comparisons.items()]
    state, reason = section_state(comparisons)
    context = {
        "comparison_rows": rows,
        "can_compare": sum(run.counts for run in results.rows(Run)) > 1,
        "runs_needed": "" if comparisons else describe_runs_needed(results.shop),
    }
    return Section("comparisons", "Comparisons", state, reason, TEMPLATE, context)


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
    printed = sum(comparison.on_sheet for comparison in comparisons)
    return State.DONE, f"{printed} for the sheet"
