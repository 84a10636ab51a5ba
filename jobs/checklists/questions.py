"""What contradicts a tick: runs made before it, valve work after it, or a thing that is off the bike.

A question refuses nothing; whoever ticked may give the reason.
"""

import re
from collections.abc import Iterator, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from jobs.checklists.sessions import number_of
from jobs.job.results import JobResults
from jobs.models import (
    BikeChange,
    Check,
    CheckItem,
    ClearanceSet,
    DynoSession,
    Part,
    Run,
    SuspensionSetting,
    TuneRevision,
)

List = CheckItem.List
CLAUSE = re.compile(r"[.;,\n]")
# How a person writes that a thing is not on the bike; {0} is the thing.
REMOVED = (
    r"\b(?:no|without)\s+(?:\w+\s+)?{0}",
    r"{0}.*\b(?:removed|missing|not fitted|taken off|came off)\b",
    r"\b(?:removed|missing|took off|taken off)\b.*{0}",
)


def questions(results: JobResults, check: Check) -> list[str]:
    """Return what is questioned about an answered check."""
    if check.not_applicable:
        return []
    found = contradictions(results, check.item)
    if check.item.list == List.BEFORE_ROLLER:
        found += before_roller_questions(results, check)
    elif check.item.list == List.AFTER_VALVES:
        found += after_valves_questions(results, check)
    elif later := later_change(results, check):
        at, what = later
        found.append(f"Ticked before a later change: {what} ({shop_time(results, at)}). Check it again.")
    return found


def later_change(results: JobResults, check: Check) -> tuple[datetime, str] | None:
    """Return the last change of the bike after a check before handover, or None."""
    if check.not_applicable or check.item.list != List.BEFORE_HANDOVER:
        return None
    last = max(results.get(recorded_changes), key=lambda change: change[0], default=None)
    return last if last and last[0] > check.at else None


def recorded_changes(results: JobResults) -> list[tuple[datetime, str]]:
    """Return when the bike was changed on this job, and by what in a few words."""
    parts = [(part.fitted_at, f"{part.name} fitted") for part in results.rows(Part) if part.fitted_at]
    changes = [(change.at, str(change)) for change in results.rows(BikeChange)]
    tunes = [(tune.loaded_at, f"{tune} loaded") for tune in results.rows(TuneRevision) if tune.number]
    valves = [
        (measured.measured_at, "valve clearances adjusted")
        for measured in results.rows(ClearanceSet)
        if measured.when == ClearanceSet.When.AS_LEFT
    ]
    settings = [
        (setting.set_at, "suspension and settings changed")
        for setting in results.rows(SuspensionSetting)
        if setting.when == SuspensionSetting.When.AS_LEFT
    ]
    return [*parts, *changes, *tunes, *valves, *settings]


def before_roller_questions(results: JobResults, check: Check) -> list[str]:
    """Question a tick that came after the first run of its session, or before the session."""
    session, found = check.session, []
    first = min(runs_in_session(results, session), default=None)
    if first and check.at > first:
        found.append(
            f"Ticked after the first run of dyno session {number_of(session)} ({shop_time(results, first)})."
        )
    if session and check.at < session.started_at:
        found.append(
            f"Ticked before the bike was strapped down again ({shop_time(results, session.started_at)})."
        )
    return found


def after_valves_questions(results: JobResults, check: Check) -> list[str]:
    """Question a tick that came after the engine ran, or before the valves were worked on again."""
    measured = last_measured(results)
    if measured is None:
        return []
    times = [made_at for made_at, _ in results.get(run_sessions)]
    after = min((at for at in times if at > measured.measured_at), default=None)
    if after and check.at > after:
        return [
            f"Ticked after a run ({shop_time(results, after)}): it must follow the clearances "
            f"{measured.get_when_display()} and before the first start."
        ]
    if any(check.at < at < measured.measured_at for at in times):
        return [
            "Ticked before the engine ran and the clearances were measured again "
            f"({shop_time(results, measured.measured_at)})."
        ]
    return []


def last_measured(results: JobResults) -> ClearanceSet | None:
    """Return the last clearances as left; if there are none, the last ones."""
    sets = results.rows(ClearanceSet)
    left = [measured for measured in sets if measured.when == ClearanceSet.When.AS_LEFT]
    return max(left or sets, key=lambda measured: measured.measured_at, default=None)


def run_sessions(results: JobResults) -> list[tuple[datetime, int | None]]:
    """Return time and dyno session of the runs, which is all that a check is questioned by."""
    return sorted(((run.made_at, run.session_id) for run in results.rows(Run)), key=lambda run: run[0])


def runs_in_session(results: JobResults, session: DynoSession | None) -> list[datetime]:
    """Return when the runs of a session were made."""
    pk = session.pk if session else None
    return [made_at for made_at, of_session in results.get(run_sessions) if of_session == pk]


def contradictions(results: JobResults, item: CheckItem) -> list[str]:
    """Return what on record says that a thing which a check needs is not on the bike."""
    words = [word.strip() for word in item.needs.split(",") if word.strip()]
    if not words:
        return []
    return [f"On record: “{text}” ({source})." for source, text in removals(results, words)]


def removals(results: JobResults, words: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Yield where and in which words it is recorded that one of these things is off the bike."""
    for part in results.rows(Part):
        if part.fitted_at and names_any(part.replaces, words) and not names_any(part.name, words):
            yield "parts", f"{part.name} in place of {part.replaces}"
    for change in results.rows(BikeChange):
        clauses = removing_clauses(change.description, words, kind=f"{change.kind} ")
        yield from (("changes of the bike", clause) for clause in clauses)
    for clause in removing_clauses(results.job.condition, words):
        yield "condition on arrival", clause


def removing_clauses(text: str, words: Sequence[str], kind: str = "") -> Iterator[str]:
    """Yield the clauses that say, with the kind of change before them, that one of these is off the bike."""
    for clause in map(str.strip, CLAUSE.split(text)):
        patterns = (pattern.format(word_pattern(word)) for word in words for pattern in REMOVED)
        if any(re.search(pattern, kind + clause, re.IGNORECASE) for pattern in patterns):
            yield clause


def names_any(text: str, words: Sequence[str]) -> bool:
    return any(re.search(word_pattern(word), text, re.IGNORECASE) for word in words)


def word_pattern(word: str) -> str:
    """Match a whole word, in the singular or the plural."""
    return rf"\b{re.escape(word)}s?\b"


def shop_time(results: JobResults, at: datetime) -> str:
    return f"{at.astimezone(ZoneInfo(results.shop.time_zone)):%-d %b %Y, %H:%M}"
