"""Remove a run that no comparison or study uses."""

from django.db import transaction
from django.db.models import ProtectedError

from jobs.models import Run


def is_in_use(run: Run) -> bool:
    return run.compared_in.exists() or run.mixture_studies.exists()


@transaction.atomic
def remove_run(run: Run) -> None:
    """Delete a run, and its files once the transaction is committed.

    Raises
    ------
    ProtectedError
        A comparison or a mixture study uses the run.
    """
    studies = list(run.mixture_studies.all())
    if studies:
        raise ProtectedError("A mixture study uses this run.", set(studies))
    stored = [(file.storage, str(file.name)) for file in (run.original, run.channels) if file]
    run.delete()

    def delete_files() -> None:
        for storage, name in stored:
            storage.delete(name)

    transaction.on_commit(delete_files)
