"""Comparisons on the job page; the verdicts stand on a comparison's own page."""

from jobs.comparisons.compare import Group
from jobs.job.page import JobPage
from jobs.job.section import Section, State
from jobs.models import ComparisonRun

TEMPLATE = "jobs/comparisons/_section.html"


def section(page: JobPage) -> Section:
    rows = [(comparison, sizes(members)) for comparison, members in page.comparisons.items()]
    state, why = where_it_stands(page)
    context = {"comparison_rows": rows, "can_be_compared": sum(run.counts for run in page.runs) > 1}
    return Section("comparisons", "Comparisons", state, why, TEMPLATE, context)


def sizes(members: list[ComparisonRun]) -> str:
    """'3 runs before, 2 after'; those set aside do not count."""
    counts = {side: sum(m.group == side and m.run.counts for m in members) for side in Group}
    before, after = counts[Group.BEFORE], counts[Group.AFTER]
    return f"{before} run{'' if before == 1 else 's'} before, {after} after"


def where_it_stands(page: JobPage) -> tuple[State, str]:
    if not page.comparisons:
        return State.EMPTY, "nothing compared yet"
    for comparison, members in page.comparisons.items():
        if any(not any(m.group == side and m.run.counts for m in members) for side in Group):
            return State.ATTENTION, f"“{comparison}” has no run left on one side"
    printed = sum(comparison.on_sheet for comparison in page.comparisons)
    return State.DONE, f"{printed} for the sheet"
