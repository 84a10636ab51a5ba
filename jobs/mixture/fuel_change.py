"""Whether the bike still has the fuel of its last mixture study."""

from jobs.job.results import JobResults
from jobs.mixture.study import runs_by_study
from jobs.models import BikeChange, MixtureStudy


def fuel_changed_since(results: JobResults) -> list[tuple[MixtureStudy, BikeChange]]:
    """Return the printed study that describes the bike as it leaves, if its fuel was changed since.

    That is the study with the latest run. Earlier ones show the bike as it was.
    """
    fuel_changes = [change for change in results.rows(BikeChange) if change.kind.is_fuel]
    if not fuel_changes or not results.rows(MixtureStudy):
        return []
    printed = [(study, runs) for study, runs in results.get(runs_by_study).items() if study.on_sheet and runs]
    if not printed:
        return []
    study, runs = max(printed, key=lambda pair: max(run.made_at for run in pair[1]))
    first = min(run.made_at for run in runs)
    later = [change for change in fuel_changes if change.at > first]
    return [(study, later[-1])] if later else []
