"""Shim plans that were accepted, and whether their result was measured."""

from jobs.models import ClearanceSet, ShimPlan


def accepted_plan(measured: ClearanceSet) -> ShimPlan | None:
    return getattr(measured, "shim_plan", None)


def is_followed_by_as_left(measured: ClearanceSet, sets: list[ClearanceSet]) -> bool:
    """Return True if clearances were measured as left after a set; ``sets`` is in the order of measuring."""
    return any(later.when == ClearanceSet.When.AS_LEFT for later in sets[sets.index(measured) + 1 :])


def is_awaiting_as_left(sets: list[ClearanceSet]) -> bool:
    """Return True if a plan was accepted and nothing was measured after its readings."""
    planned = [measured for measured in sets if accepted_plan(measured)]
    return bool(planned) and not is_followed_by_as_left(planned[-1], sets)
