"""The sheet in the language that the customer chose: its sentences, numbers, dates and signs."""

import copy

import pytest
from django.db import transaction
from django.test import override_settings
from django.utils import translation

from jobs.comparisons.compare import comparison_results
from jobs.models import Job, ShimPlanRow
from jobs.timeline.events import timeline
from reports.handover.issuing import issue_sheet
from reports.handover.sheet import prepare, sheet_pdf
from reports.handover.snapshot import make_snapshot
from reports.handover.snapshot.codec import from_json, to_json
from tests import factories
from tests.reports import whole_jobs
from tests.reports.conftest import AT, Snapshot, without_evidence
from tests.reports.messages import english_left, english_sentences, text_of, visible_text
from tests.reports.reading import opened, pages
from workshop.models import Role

pytestmark = pytest.mark.one_database

LANGUAGES = ("de", "es")
# As they are stored, in English, and what a German sheet says of them.
OPEN_POINTS = {
    "The job is at the stage “on the bench”.": "Der Auftrag steht auf „in Arbeit“.",
    "The bike is meant for road and track, something on it may not be, and the customer was not told.": (
        "Das Motorrad ist für den Einsatz „Straße und Rennstrecke“ bestimmt"
    ),
    "Not confirmed for this sheet: the customer was told that the bike may no longer be road legal.": (
        "Für dieses Blatt nicht bestätigt: dem Kunden wurde gesagt, dass das Motorrad möglicherweise nicht"
    ),
    "Agreed work is not ticked as done: Fit the front brake, done; Wash.": "Fit the front brake, done; Wash.",
    "Valve clearances are out of range or not certain by the last reading: cylinder 1, intake left, "
    "cylinder 10, exhaust, opening clearance and 3 more.": (
        "Sollbereichs oder nicht sicher: Zylinder 1, Einlass links, Zylinder 10, Auslass, Öffnerspiel und "
        "3 weitere."
    ),
    "Checks before running on the dyno, session 2: 1 tick older than a later change of the bike.": (
        "Prüfungen vor dem Lauf auf dem Prüfstand, Sitzung 2: 1 Haken ist älter als eine spätere Änderung"
    ),
    "Checks before handover: 5 of 6 not ticked.": "Prüfungen vor der Übergabe: 5 von 6 nicht abgehakt.",
    "Sheet 2026-007/1 no longer says what is recorded. Changed since: valve clearances, notices.": (
        "Seither geändert: Ventilspiel, Hinweise."
    ),
    "What an earlier version said.": "What an earlier version said.",
}
# Notes of a shim plan as they are stored, and what a German sheet says of them.
DOUBTS = {
    "These blades cannot show whether that is in range. Use finer ones": (
        "Diese Fühlerlehren können nicht zeigen, ob das im Sollbereich liegt. Feinere nehmen"
    ),
    "This is the very lower limit of its range": "Das ist genau die untere Grenze seines Bereichs",
    "The shim that comes out is marked 2.56 mm, which is not an available size: measure it": (
        "das herauskommt, ist mit 2,56 mm gekennzeichnet, was keine erhältliche Größe ist: nachmessen"
    ),
    "The shim that goes in may be 2.575 or 2.57 mm: measure it": (
        "Das Shim, das hineinkommt, kann 2,575 oder 2,57 mm haben: nachmessen"
    ),
}


@pytest.fixture(scope="module")
def snapshots(django_db_setup, django_db_blocker, tmp_path_factory) -> dict[str, Snapshot]:
    """Return the whole job in each language, from results that staff had read in English before."""
    files = override_settings(MEDIA_ROOT=tmp_path_factory.mktemp("languages"))
    with django_db_blocker.unblock(), files, transaction.atomic():
        staff = {role: factories.make_staff(role) for role in Role}
        job = whole_jobs.make_whole_job(staff)
        doubtful = ShimPlanRow.objects.filter(plan__clearance_set__job=job)
        doubtful.update(why=f"from stock, 0.01 mm looser than the target. {'. '.join(DOUBTS)}")
        results = factories.load_results(job)
        results.get(comparison_results)
        results.get(timeline)
        made = {}
        for language in LANGUAGES:
            results.job.customer.language = language
            made[language] = to_json(
                make_snapshot(
                    results,
                    issue_number=1,
                    issued_by=staff[Role.OWNER],
                    at=AT,
                    informed_person="Ines Quill",
                    override_reason="Er wollte fahren.",
                    open_points=[*OPEN_POINTS],
                )
            )
        transaction.set_rollback(True)
    return made


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_english_sentence_is_left_on_the_sheet(snapshots, language: str) -> None:
    source = prepare(from_json(copy.deepcopy(snapshots[language])))
    assert f'<html lang="{language}">' in source.html
    assert len(english_sentences(language)) > 400
    assert english_left(text_of(source), language) == []


def test_open_points_and_doubts_are_told_in_the_language_of_the_sheet(snapshots) -> None:
    text = visible_text(prepare(from_json(copy.deepcopy(snapshots["de"]))).html)
    assert [words for words in [*OPEN_POINTS.values(), *DOUBTS.values()] if words not in text] == []


@pytest.mark.parametrize(
    ("language", "words"),
    [
        (
            "de",
            [
                "Was kam und was jetzt im Motorrad ist",
                "6 von 12 außerhalb des Sollbereichs vorgefunden; nach der Arbeit alle 12 am Ziel",
                "0,12\N{NO-BREAK SPACE}mm",
                "Zylinder 1, Einlass links",
                "nach gleichem Start liegt das Motorrad",
                "Motorbremse (Schub), Mittel von",
                "Das Gas spricht anders an. Fahren Sie zuerst behutsam",
                "das nächste Mal bei einem Kilometerstand von etwa "
                "47\N{NARROW NO-BREAK SPACE}480\N{NO-BREAK SPACE}km",
                "Fassung 3 der Hinweise",
                "14.03.2025",
                "Ines Quill wurde von der Werkstatt darüber informiert",
            ],
        ),
        (
            "es",
            [
                "Lo que llegó y lo que la moto lleva ahora",
                "6 de 12 fuera del margen al llegar; al entregar, las 12 en el objetivo",
                "0,12\N{NO-BREAK SPACE}mm",
                "cilindro 1, admisión izquierda",
                "después de la misma salida, la moto va",
                "Freno motor (retención), media de",
                "El acelerador responde distinto.",
                "47\N{NARROW NO-BREAK SPACE}480\N{NO-BREAK SPACE}km en el cuentakilómetros",
                "14 mar 2025",
            ],
        ),
    ],
)
def test_sentences_numbers_and_dates_are_those_of_the_language(snapshots, language, words) -> None:
    text = visible_text(prepare(from_json(copy.deepcopy(snapshots[language]))).html)
    plain = " ".join(text.split())
    assert [word for word in words if " ".join(word.split()) not in plain] == []


def test_values_in_the_snapshot_are_the_same_in_every_language(snapshots) -> None:
    def numbers(value: object) -> list[float]:
        if isinstance(value, dict):
            return [found for key in sorted(value) for found in numbers(value[key])]
        if isinstance(value, list):
            return [found for item in value for found in numbers(item)]
        return [value] if isinstance(value, float | int) else []

    assert numbers(snapshots["de"]) == numbers(snapshots["es"])


@pytest.mark.slow
def test_pdf_names_its_language_and_is_the_same_whoever_prints_it(snapshots) -> None:
    short = without_evidence(copy.deepcopy(snapshots["de"]))
    first = sheet_pdf(short)
    with translation.override("es"):
        assert sheet_pdf(short) == first
    assert str(opened(first).Root.Lang) == "de"
    assert "Seite 1 von" in pages(first)[0]


def test_stored_sheet_without_a_language_stays_english(snapshot) -> None:
    del snapshot["sheet"]["language"]
    with translation.override("de"):
        page = prepare(from_json(snapshot)).html
    assert '<html lang="en">' in page and "What came in, and what is in the bike now" in page


@pytest.mark.django_db
def test_language_is_the_only_change_if_only_it_changed(staff) -> None:
    def issue(job: Job) -> list[str]:
        sheet = issue_sheet(
            job=job, by=staff[Role.OWNER], override_reason="for a test", informed_person="Ines Quill"
        )
        before = from_json(sheet.snapshot).sheet.supersedes
        return before.changed if before else []

    job = whole_jobs.make_short_job(staff)
    issue(job)
    job.customer.language = "de"
    job.customer.save()
    assert issue(job) == ["language"]
    assert issue(job) == []
