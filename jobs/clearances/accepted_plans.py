"""Shim plans that were accepted, and whether their result was measured."""

from jobs.models import ClearanceSet, ShimPlan


def accepted_plan(measured: ClearanceSet) -> ShimPlan | None:
    return getattr(measured, "shim_plan", None)


def is_awaiting_as_left(sets: list[ClearanceSet]) -> bool:
    """Return True if a plan was accepted and nothing was measured after its readings."""
    planned = [number for number, measured in enumerate(sets) if accepted_plan(measured)]
    left = [number for number, measured in enumerate(sets) if measured.when == ClearanceSet.When.AS_LEFT]
    return bool(planned) and (not left or max(left) < max(planned))
