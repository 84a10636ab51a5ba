"""What the throttle page says first."""

from collections.abc import Sequence

from jobs.job.sentences import counted
from jobs.models import TuneRevision
from jobs.throttle.from_runs import DriftCheck
from jobs.tunes.throttle_tables import Mode


def describe_answer(modes: Sequence[Mode], held: Sequence[DriftCheck], in_bike: TuneRevision | None) -> str:
    """Return whether the plate follows the grip alone, or else what tables there are."""
    by_tune = {check.revision: check for check in held}
    received = next((check for tune, check in by_tune.items() if tune and tune.number == 0), None)
    now = by_tune.get(in_bike) if in_bike else None
    if now and now.needs_attention:
        return "The plate follows revs with the grip held still"
    if now and now.holds:
        if received and received is not now and received.needs_attention:
            return "The plate now holds steady; as received it followed revs"
        return "The plate holds steady with the grip held still"
    if not modes:
        return "No throttle table recorded"
    flagged = [mode.name for mode in modes if mode.flags]
    if flagged:
        return f"Check {', '.join(flagged)}"
    return f"{counted(len(modes), 'riding mode')}: {', '.join(mode.name for mode in modes)}"
