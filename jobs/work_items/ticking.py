"""Tick agreed work as done; its history holds who did and when."""

from jobs.models import WorkItem


def set_done(item: WorkItem, *, done: bool, version: int) -> None:
    """Tick agreed work, or remove the tick.

    Raises StaleRecord if somebody changed the work since this version was shown.
    """
    if item.done == done:
        return
    item.version, item.done = version, done
    item.save()
