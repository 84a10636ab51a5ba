"""In an inch shop all clearances are shown in inches; shims stay in mm, as marked."""

import re
from decimal import Decimal
from typing import Any

import pytest
from django.urls import reverse

from jobs.models import SuspensionSetting
from tests.factories import make_clearance_set, make_engine, make_job
from tests.html import find, read_text
from workshop.models import Role

pytestmark = pytest.mark.django_db

IN_MM = re.compile(r"\d[\d.,]*\s*(?:to\s+[\d.,]+\s*)?mm\b")


@pytest.fixture
def inches(shop: Any) -> Any:
    shop.length_unit = "in"
    shop.save()
    return shop


def words(page: str) -> str:
    """Return the text of a page and of its images."""
    main = find(page, "//main")[0]
    return " ".join([read_text(main), *main.xpath(".//@aria-label")])


def test_uncertain_verdict_and_missed_prediction_are_in_inches(inches, login, staff) -> None:
    job = make_job()
    found = make_clearance_set(job, staff[Role.MECHANIC], "0.15")
    found.readings.filter(cylinder=1).update(
        clearance_mm=None, goes_mm=Decimal("0.18"), not_goes_mm=Decimal("0.22")
    )
    page = words(login(Role.MECHANIC).get(reverse("clearances", args=[found.pk])).content.decode())
    # 0.18 / 25.4 = 0.00709, 0.22 / 25.4 = 0.00866; the range of 0.10 to 0.20 mm is 0.0039 to 0.0079 in
    assert "0.0071 to 0.0087 in may be inside or outside 0.0039 to 0.0079 in. Use finer blades." in page
    assert "cylinder 1, intake left; as found 0.0071 to 0.0087 in, not certain" in page
    shims = re.findall(r"[\d.]+ mm → [\d.]+ in|2\.\d+ mm", page)
    assert shims
    assert len(IN_MM.findall(page)) == len(shims)


def test_shim_plan_has_clearances_in_inches_and_shims_in_mm(inches, login, staff) -> None:
    job = make_job()
    found = make_clearance_set(job, staff[Role.MECHANIC], "0.15")
    found.readings.filter(cylinder=1, side="intake").update(clearance_mm=Decimal("0.23"))
    page = words(login(Role.MECHANIC).get(reverse("shim-plan", args=[found.pk])).content.decode())
    # 0.23 mm with a shim of 2.50 mm: 2.55 mm gives 0.18 mm, 0.02 mm = 0.0008 in looser than the target
    assert "0.0008 in looser than the target" in page
    assert not re.search(r"\d mm (?:looser|tighter)", page)


def test_valve_beyond_all_shims_is_described_in_inches(inches, login, staff) -> None:
    make_engine(shim_thinnest_mm=Decimal("2.40"), shim_thickest_mm=Decimal("2.60"))
    found = make_clearance_set(make_job(), staff[Role.MECHANIC], "0.90")
    page = words(login(Role.MECHANIC).get(reverse("shim-plan", args=[found.pk])).content.decode())
    assert "No shim in stock or available size brings it within 0.0039 to 0.0079 in." in page


def test_implausible_value_gives_a_warning_in_inches(inches, login) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    url = reverse("clearances-new", args=[job.number, "as_found"])
    form = client.get(url).context["form"]
    sent = {name: form[name].value() or "" for name in form.fields}
    sent |= {"engine_temperature_c": "21", "blades": "in", "c-1-intake-1-opening": "0.15"}
    answer = client.post(url, sent)
    assert answer.status_code == 422
    page = words(answer.content.decode())
    # 0.15 as typed in inches would be 3.81 mm; as millimetres it is 0.0059 in
    assert "It looks like millimetres (0.0059 in)" in page


def test_sag_is_described_in_inches(inches, login, staff) -> None:
    job = make_job()
    SuspensionSetting.objects.create(
        job=job, when="as_found", by=staff[Role.MECHANIC], front_unloaded_mm=600, front_pushed_mm=540,
        front_lifted_mm=570, front_travel_mm=120,
    )  # fmt: skip
    client = login(Role.MECHANIC)
    page = words(client.get(reverse("job", args=[job.number]), {"open": "all"}).content.decode())
    # 30 mm / 25.4 = 1.18 in
    assert "The two readings are 1.18 in apart" in page
    url = reverse("suspension-new", args=[job.number, "as_left"])
    form = client.get(url).context["form"]
    sent = {name: form[name].value() or "" for name in form.fields}
    sent |= {
        "front_unloaded_mm": "24",
        "front_pushed_mm": "14",
        "front_lifted_mm": "14",
        "front_travel_mm": "5",
    }
    answer = client.post(url, sent)
    assert answer.status_code == 422
    assert "Sag of 10.00 in is more than the travel of 5.00 in." in words(answer.content.decode())
