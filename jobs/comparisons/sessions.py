"""Sessions on the dyno as a comparison counts them: strapped down once, without a long break."""

from collections.abc import Iterable
from datetime import timedelta

from jobs.models import Run

# Overnight the tyre, the straps and the room are others. Rule of thumb, no published source.
LONG_BREAK = timedelta(hours=6)


def number_sessions(runs: Iterable[Run]) -> list[int]:
    """Return the number of the session of each run; the runs are in the order they were made."""
    numbers: list[int] = []
    previous: Run | None = None
    for run in runs:
        is_new = previous is not None and (
            run.session_id != previous.session_id or run.made_at - previous.made_at > LONG_BREAK
        )
        numbers.append((numbers[-1] if numbers else 0) + is_new)
        previous = run
    return numbers
