"""Agreed work on the job page."""

from typing import Any

from jobs.calc.units.numbers import format_number
from jobs.job.results import JobResults
from jobs.job.section import Section, State
from jobs.job.sentences import counted
from jobs.job.small_pictures import draw_boxes
from jobs.models import Authorisation, WorkItem
from jobs.work_items.totals import Total, work_total


def section(results: JobResults) -> Section:
    items, total = results.rows(WorkItem), results.get(work_total)
    state, summary = section_state(results, items, total)

    def context() -> dict[str, Any]:
        return {
            "work_items": items,
            "work": total,
            "authorisations": results.rows(Authorisation),
        }

    return Section(
        "work",
        "Agreed work",
        state,
        summary,
        "jobs/work_items/_section.html",
        context,
        picture=draw_boxes([item.done for item in items]) if items else "",
    )


def section_state(results: JobResults, items: list[WorkItem], total: Total) -> tuple[State, str]:
    currency = results.shop.currency
    if total.over is not None:
        return State.ATTENTION, f"{currency} {format_number(total.over, 2)} over the customer's limit"
    if not items:
        return State.EMPTY, "none agreed in writing"
    done = sum(item.done for item in items)
    summary = f"{done} of {counted(len(items), 'item')} done, {currency} {format_number(total.amount, 2)}"
    return State.DONE if done == len(items) else State.IN_HAND, summary
