"""Sessions on the dyno: a bike strapped down again is checked again.

Runs belong to a session by their time. The first session has no row (see ``DynoSession``).
"""

from collections.abc import Iterable
from datetime import datetime

from django.db import IntegrityError, transaction

from jobs.models import Check, CheckItem, DynoSession, Job, Run
from workshop.models import StaffMember


class NoNewSession(Exception):
    """The session was not started; the message gives the reason."""


def find_session(sessions: Iterable[DynoSession], at: datetime) -> DynoSession | None:
    """Return the session of an instant; None for the first."""
    return max(
        (session for session in sessions if session.started_at <= at),
        key=lambda session: session.number,
        default=None,
    )


def session_at(job: Job, at: datetime) -> DynoSession | None:
    """Return the session of a job in which a run of that time was made; None for the first."""
    return find_session(job.dyno_sessions.all(), at)


def current_session(job: Job) -> DynoSession | None:
    """Return the last session of a job; None for the first."""
    return job.dyno_sessions.last()


def number_of(session: DynoSession | None) -> int:
    return session.number if session else DynoSession.FIRST


def is_used(job: Job, session: DynoSession | None) -> bool:
    """Return True if a check was answered or a run made in a session."""
    checks = Check.objects.filter(job=job, session=session, item__list=CheckItem.List.BEFORE_ROLLER)
    return checks.exists() or Run.objects.filter(job=job, session=session).exists()


@transaction.atomic
def start_session(*, job: Job, by: StaffMember, started_at: datetime) -> DynoSession:
    """Start the next session of a job: the checks before the dyno are open again.

    Raises
    ------
    NoNewSession
        The present session has neither a tick nor a run, or someone else has just started one.
    """
    present = current_session(job)
    if not is_used(job, present):
        raise NoNewSession(
            f"Dyno session {number_of(present)} has no ticks and no runs yet, so a new session is not needed."
        )
    session = DynoSession(job=job, number=number_of(present) + 1, by=by, started_at=started_at)
    try:
        with transaction.atomic():
            session.save()
    except IntegrityError as problem:
        raise NoNewSession(
            f"Someone else started dyno session {session.number} at the same time."
        ) from problem
    assign_runs(job)
    return session


@transaction.atomic
def save_session(session: DynoSession) -> None:
    """Save a session whose time was changed, with the runs that now belong to it or no more."""
    session.save()
    assign_runs(session.job)


@transaction.atomic
def remove_session(session: DynoSession) -> None:
    """Remove the last session of a job; its runs belong to the one before.

    Raises
    ------
    NoNewSession
        It is not the last one, or checks were answered in it.
    """
    if session != current_session(session.job) or session.checks.exists():
        raise NoNewSession(
            f"Checks were ticked in {session}, or it is not the latest, so it cannot be removed."
        )
    earlier = session.job.dyno_sessions.exclude(pk=session.pk)
    for run in session.runs.all():
        run.session = find_session(earlier, run.made_at)
        run.save()
    session.delete()


def assign_runs(job: Job) -> None:
    """Point each run of a job at the session of its time."""
    sessions = list(job.dyno_sessions.all())
    for run in job.runs.all():
        session = find_session(sessions, run.made_at)
        if run.session_id != (session.pk if session else None):
            run.session = session
            run.save()
