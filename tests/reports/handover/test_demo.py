"""The demo shop: built by one command, once, with two issued sheets that say first what matters."""

import io

import pypdfium2
import pytest
from django.core.management import CommandError, call_command

from jobs.job.road_use import describe_causes
from jobs.models import FileLayout, Handover, Job, Run
from reports.models import HandoverSheet
from tests.factories import load_results, make_customer
from workshop.models import EngineSpec, StaffMember

pytestmark = [pytest.mark.django_db, pytest.mark.slow]


def first_page(sheet: HandoverSheet) -> str:
    with sheet.pdf.open("rb") as file:
        return pypdfium2.PdfDocument(file.read())[0].get_textpage().get_text_bounded()


def test_demo_is_built_once_with_two_issued_sheets() -> None:
    output = io.StringIO()
    call_command("demo", "--no-serve", stdout=output)
    for person in StaffMember.objects.all():
        assert person.username in output.getvalue()
    assert Job.objects.values("stage").distinct().count() >= 3
    assert EngineSpec.objects.values("adjuster").distinct().count() == 3
    assert FileLayout.objects.count() == 3
    assert not Run.objects.exclude(status=Run.Status.READ).exists()
    assert [handover.open_points for handover in Handover.objects.all()] == [[]]
    assert set(Job.objects.filter(stage="handed_over")) == {Handover.objects.get().job}
    sheets = HandoverSheet.objects.all()
    assert len(sheets) == 2
    for sheet in sheets:
        page = first_page(sheet)
        for words in ("What was asked", "What was done", "What changed", "May it be ridden on public roads?"):
            assert words in page, f"{words!r} is not on the first page of {sheet}"
    booked = load_results(Job.objects.get(stage="booked"))
    assert "Air filter, pleated cotton (air filter), from job" in " ".join(booked.get(describe_causes))
    call_command("demo", "--no-serve", stdout=output)
    assert HandoverSheet.objects.count() == 2


def test_demo_is_refused_if_shop_has_data() -> None:
    make_customer()
    with pytest.raises(CommandError, match="holds a shop of its own"):
        call_command("demo", "--no-serve", stdout=io.StringIO())
    assert not Job.objects.exists()
