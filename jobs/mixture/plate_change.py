"""Whether the plate by grip was changed between two mixture studies by grip."""

from jobs.job.results import JobResults
from jobs.models import MixtureStudy, TuneRevision
from jobs.tunes.throttle_tables import table_differences


def study_tune(results: JobResults, study: MixtureStudy) -> TuneRevision | None:
    """Return the latest tune of the runs of a study."""
    used = set(study.runs.values_list("tune_revision_id", flat=True))
    return max(
        (tune for tune in results.rows(TuneRevision) if tune.pk in used), key=lambda t: t.number, default=None
    )


def describe_plate_change(results: JobResults, before: MixtureStudy, study: MixtureStudy) -> str:
    """Say that one grip is another load in each of two studies, or return '' if no table differs."""
    first, second = study_tune(results, before), study_tune(results, study)
    if first is None or second is None or first == second:
        return ""
    modes = [difference.mode for difference in table_differences(results, first, second)]
    if not modes:
        return ""
    return (
        f"The throttle plate by grip differs between {first} and {second} (mode {', '.join(modes)}). The "
        "same grip is not the same load in both passes. Compare them by throttle plate instead."
    )
