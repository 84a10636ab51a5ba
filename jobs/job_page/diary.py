"""The bike diary: what happened to the bike and what was said about it, the latest first."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from itertools import groupby

from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone

from jobs.job.event import Event, EventKind
from jobs.job.registry import JobRecord, records
from jobs.job.results import JobResults
from jobs.job.sentences import counted
from jobs.job_page.stored import reader, stored, token_mark
from jobs.models import ContactEntry
from workshop.models import Role

SHOWN = {"all": "All", "contact": "Contact", "bike": "Bike"}
MAX_SHOWN = 8


@dataclass(frozen=True)
class DiaryEntry:
    """One line of the diary; runs with the same tune that follow each other are one."""

    at: datetime
    kind: str
    text: str
    icon: str
    url: str = ""
    changes_bike: bool = False
    tune: str = ""
    runs: int = 0


def diary(results: JobResults, shown: str) -> list[DiaryEntry]:
    """Return the entries that were asked for, the latest first."""
    found = (entry for record in records() if record.events for entry in stored_entries(record, results))
    if shown != "all":
        found = (entry for entry in found if (entry.kind == EventKind.CONTACT) == (shown == "contact"))
    return [*merge_runs(sorted(found, key=lambda entry: (entry.at, bool(entry.runs))))][::-1]


def stored_entries(record: JobRecord, results: JobResults) -> list[DiaryEntry]:
    source = JobRecord(f"diary of {record.key}", reads=(*(rows.model for rows in record.rows), *record.reads))
    return stored(source, results, "", partial(make_entries, record, results))


def make_entries(record: JobRecord, results: JobResults) -> list[DiaryEntry]:
    assert record.events is not None
    if record.key == "contacts":
        return [contact_entry(entry) for entry in results.rows(ContactEntry)]
    runs_page = reverse("runs", args=[results.job.number])
    return [entry_from(event, runs_page) for event in record.events(results)]


def contact_entry(entry: ContactEntry) -> DiaryEntry:
    icon = {ContactEntry.Kind.CALL: "phone", ContactEntry.Kind.MESSAGE: "mail"}.get(
        ContactEntry.Kind(entry.kind), "note"
    )
    url = reverse("contact-edit", args=[entry.pk]) if entry.by_id else ""
    return DiaryEntry(entry.said_at, EventKind.CONTACT, f"{entry}: {entry.text}", icon, url)


def entry_from(event: Event, runs_page: str) -> DiaryEntry:
    entry = DiaryEntry(event.at, event.kind, event.text, event.kind.icon, changes_bike=event.changes_bike)
    if event.run is None:
        return entry
    tune = event.revision.label if event.revision else ""
    return replace(entry, tune=tune, runs=1, url=runs_page)


def merge_runs(entries: Iterable[DiaryEntry]) -> Iterator[DiaryEntry]:
    """Yield the entries in order, with runs of one tune on one day that follow each other as one."""
    for (is_run, tune, _), group in groupby(entries, key=run_key):
        together = list(group)
        if not is_run:
            yield from together
            continue
        count = len(together)
        with_tune = f" {tune}" if tune == "as received" else f" with {tune}" if tune else ""
        text = together[0].text if count == 1 else f"{counted(count, 'run')}{with_tune}"
        yield replace(together[-1], text=text, runs=count)


def run_key(entry: DiaryEntry) -> tuple[bool, str, str]:
    return bool(entry.runs), entry.tune, str(timezone.localdate(entry.at)) if entry.runs else ""


def stored_diary(results: JobResults, roles: frozenset[Role], shown: str) -> str:
    """Return the diary as HTML, with marks for the tokens of its form."""
    entries = diary(results, shown)
    latest, more = entries[:MAX_SHOWN], len(entries) - MAX_SHOWN
    made_from = (sorted(roles), shown, more, latest)
    return stored(
        JobRecord("diary"), results, made_from, partial(render_diary, results, roles, shown, latest, more)
    )


def render_diary(
    results: JobResults, roles: frozenset[Role], shown: str, latest: list[DiaryEntry], more: int
) -> str:
    days = groupby(latest, key=lambda entry: timezone.localdate(entry.at))
    context = {
        "job": results.job,
        "user": reader(roles),
        "shown": shown,
        "choices": SHOWN,
        "days": [(day, list(entries)) for day, entries in days],
        "more": max(more, 0),
        "kinds": ContactEntry.Kind.choices,
        "directions": ContactEntry.Direction.choices,
        "csrf_token": token_mark(),
    }
    return render_to_string("jobs/job_page/_diary.html", context)
