"""Change several runs at once: all of them, or none."""

from collections.abc import Iterable

from django.db import transaction

from jobs.models import Run
from jobs.runs.removing import remove_run


@transaction.atomic
def change_runs(
    runs: Iterable[Run], action: str, *, reason: str = "", kind: str = "", grip_pct: float | None = None
) -> None:
    """Exclude, include again, set the kind or grip of, or remove runs; each keeps its history.

    Raises
    ------
    StaleRecord
        Another user saved one of them in the meantime.
    ProtectedError
        One that is to be removed is used in a comparison or a study.
    """
    for run in runs:
        if action == "remove":
            remove_run(run)
            continue
        if action == "kind":
            run.kind = kind
        elif action == "grip":
            run.held_grip_pct = grip_pct
        else:
            run.set_aside = action == "exclude"
            run.set_aside_reason = reason if run.set_aside else ""
        run.save()
