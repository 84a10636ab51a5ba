"""Invisible characters that reverse text, and line ends: refused at input, never on paper or in a mail."""

from datetime import UTC, datetime
from io import BytesIO

import pytest
from django import forms
from django.urls import reverse

from reports.typesetting.pdf import DocumentSource, typeset
from tests.factories import make_customer, make_job
from tests.product_forms import product_forms
from workshop.models import Customer, Role
from workshop.records.plain_text import refuse_direction_controls

pytestmark = pytest.mark.django_db
CONTROLS = [chr(code) for code in (*range(0x202A, 0x202F), *range(0x2066, 0x206A))]


@pytest.mark.parametrize("control", CONTROLS)
def test_text_with_direction_control_is_refused_with_a_sentence(login, control: str) -> None:
    sent = {"name": f"Orla {control}Venn", "note": "x", "language": "en"}
    response = login(Role.DESK).post(reverse("customer-new"), sent)
    assert response.status_code == 422
    assert f"U+{ord(control):04X}" in response.text
    assert "type it again" in response.text
    assert not Customer.objects.exists()


@pytest.mark.parametrize("name", ["Özge Åkesson", "נועה לוי", "ليلى حداد", "李雷", "Zoë\u200dX"])
def test_names_in_other_scripts_pass(login, name: str) -> None:
    assert login(Role.DESK).post(reverse("customer-new"), {"name": name, "language": "en"}).status_code == 302
    assert Customer.objects.get().name == name


def test_every_text_of_every_form_refuses_them() -> None:
    fields = [
        (form.__name__, name, field)
        for form in product_forms()
        for name, field in getattr(form, "base_fields", {}).items()
        # An e-mail address has a rule of its own that leaves no such character.
        if isinstance(field, forms.CharField) and not isinstance(field, forms.EmailField)
    ]
    assert len(fields) > 80
    assert [field[:2] for field in fields if refuse_direction_controls not in field[2].validators] == []


def test_direction_control_within_json_is_refused(login) -> None:
    job = make_job()
    marks = '[{"x": 1, "y": 2, "note": "dent \\u202e here"}]'
    sent = {"version": job.version, "condition_marks": marks}
    response = login(Role.DESK).post(reverse("job-receive", args=[job.number]), sent)
    assert response.status_code == 422
    assert "U+202E" in response.text


@pytest.mark.parametrize("end", ["\n", "\r\n", "\u2028", "\v"])
def test_line_end_in_a_name_is_refused_with_a_sentence(login, end: str) -> None:
    customer = make_customer()
    sent = {"version": customer.version, "name": f"Orla{end}Venn", "note": "two\nlines"}
    response = login(Role.DESK).post(reverse("customer-edit", args=[customer.pk]), sent)
    assert (response.status_code, "one line only" in response.text) == (422, True)


def test_printed_text_reads_as_it_was_typed() -> None:
    """Records may be older than the rule, or come from a restored backup."""
    import pypdfium2

    html = (
        "<html lang='en'><head><title>t</title></head><body><p>pay \u202e001 GBP\u202c now</p></body></html>"
    )
    pdf = typeset(DocumentSource(html=html, files={}, paper="A4"), at=datetime(2026, 6, 1, tzinfo=UTC))
    text = pypdfium2.PdfDocument(BytesIO(pdf))[0].get_textpage().get_text_range()
    assert "pay 001 GBP now" in text
