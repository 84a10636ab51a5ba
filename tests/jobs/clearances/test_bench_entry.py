"""The bench: orders of going round, blades in inches, two gaps, two people, and the picture of all valves."""

from decimal import Decimal
from typing import Any

import pytest
from django.urls import reverse

from jobs.calc.clearances.readings import Reading, derive_closing_clearance
from jobs.clearances.before_after import clearances_before_after, pair_readings
from jobs.clearances.before_after_chart import build_chart
from jobs.clearances.engine_map import entry_orders
from jobs.models import ClearanceSet, Job
from tests.factories import load_results, make_clearance_set, make_engine, make_job
from tests.html import find
from tests.jobs.clearances.test_clearances import (
    entry,
    job_with,
    make_desmo_twin,
    make_single_with_screws,
    new_url,
)
from workshop.models import EngineSpec, Role, ShopProfile

pytestmark = pytest.mark.django_db


# In which order


def way(spec: EngineSpec, order: str) -> list[str]:
    return [valve_gap.valve.key for valve_gap in entry_orders(spec)[order]]


def test_entry_order_is_by_cylinder_side_or_firing_order() -> None:
    spec = make_engine(cylinders=3, intake_valves=1, exhaust_valves=1, firing_order="1-3-2")
    # the exhaust faces the front, so each cylinder is met there first
    assert way(spec, "cylinder") == [
        "1-exhaust-1", "1-intake-1", "2-exhaust-1", "2-intake-1", "3-exhaust-1", "3-intake-1",
    ]  # fmt: skip
    assert way(spec, "side") == [
        "1-intake-1", "2-intake-1", "3-intake-1", "1-exhaust-1", "2-exhaust-1", "3-exhaust-1",
    ]  # fmt: skip
    assert way(spec, "firing") == [
        "1-exhaust-1", "1-intake-1", "3-exhaust-1", "3-intake-1", "2-exhaust-1", "2-intake-1",
    ]  # fmt: skip


@pytest.mark.parametrize("order", ["", "1-2", "1-2-2", "one, three, two"])
def test_unknown_firing_order_is_not_offered_with_a_note(login, order: str) -> None:
    spec = make_engine(firing_order=order)
    assert "firing" not in entry_orders(spec)
    page = login(Role.MECHANIC).get(new_url(job_with(spec))).content.decode()
    assert "the engine spec has no firing order" in page
    assert "in the firing order" not in page


# With which blades


def test_inch_blades_in_a_metric_shop_are_stored_exactly(login) -> None:
    job = make_job()
    boxes = {"c-1-intake-1-opening": "0.0045", "c-1-intake-2-opening": "0.004-0.005", "blades": "in"}
    boxes |= {"c-1-exhaust-1-opening": "0.31 mm"}
    login(Role.MECHANIC).post(new_url(job), entry(boxes))
    rows = {(row.side, row.position): row for row in job.clearance_sets.get().readings.all()}
    # 0.0045, 0.004 and 0.005 × 25.4
    assert rows["intake", 1].clearance_mm == Decimal("0.1143")
    assert (rows["intake", 2].goes_mm, rows["intake", 2].not_goes_mm) == (Decimal("0.1016"), Decimal("0.127"))
    assert rows["exhaust", 1].clearance_mm == Decimal("0.31")


def test_edit_in_inches_keeps_readings_in_mm_unchanged(login, staff) -> None:
    ShopProfile.current()
    ShopProfile.objects.update(length_unit="in")
    measured = make_clearance_set(make_job(), staff[Role.MECHANIC], clearance_mm="0.15")
    before = list(measured.readings.values_list("clearance_mm", "version"))
    client, url = login(Role.MECHANIC), reverse("clearances-edit", args=[measured.pk])
    form = client.get(url).context["form"]
    assert form["c-1-intake-1-opening"].value() == "0.15 mm"
    sent = {name: form[name].value() for name in form.fields}
    sent = {name: value for name, value in sent.items() if value not in (None, False)}
    assert client.post(url, {**sent, "engine_temperature_c": "21"}).status_code == 302
    assert list(measured.readings.values_list("clearance_mm", "version")) == before


# Two gaps of a desmodromic valve


def send_gaps(login, unloaded: str, loaded: str) -> tuple[Any, Job]:
    job = job_with(make_desmo_twin())
    boxes = {
        "c-1-intake-1-opening": unloaded,
        "c-1-intake-1-closing": loaded,
        "closing_as": "loaded_gap",
    }
    return login(Role.MECHANIC).post(new_url(job), entry(boxes)), job


def test_closing_clearance_is_derived_from_both_gaps(login) -> None:
    _, job = send_gaps(login, "0.12", "0.17")
    kept = {row.gap: row.clearance_mm for row in job.clearance_sets.get().readings.all()}
    assert kept == {"opening": Decimal("0.12"), "closing": Decimal("0.05")}


def test_gaps_between_blades_give_a_bracket_of_closing_clearance(login) -> None:
    _, job = send_gaps(login, "0.12-0.13", "0.17-0.18")
    row = job.clearance_sets.get().readings.get(gap="closing")
    # from 0.17 - 0.13 to 0.18 - 0.12
    assert (row.goes_mm, row.not_goes_mm) == (Decimal("0.04"), Decimal("0.06"))


@pytest.mark.parametrize(
    ("unloaded", "loaded", "error"),
    [
        ("0.17", "0.12", "held off its seat"),
        ("0.12-0.14", "0.13-0.15", "may be below zero"),
        ("", "0.17", "The closing clearance is calculated from both."),
        ("0.12", "1.7", "is not a plausible clearance here"),
    ],
)
def test_impossible_gaps_give_error_at_the_closing_box(login, unloaded: str, loaded: str, error: str) -> None:
    answer, job = send_gaps(login, unloaded, loaded)
    assert answer.status_code == 422
    assert error in str(answer.context["form"].errors["c-1-intake-1-closing"])
    assert not job.clearance_sets.exists()


def test_gaps_measured_as_values_give_a_closing_value() -> None:
    assert derive_closing_clearance(Reading(0.12), Reading(0.17)) == Reading(0.05)


def test_stored_set_is_edited_as_clearances(login, staff) -> None:
    measured = make_clearance_set(job_with(make_desmo_twin()), staff[Role.MECHANIC])
    page = login(Role.MECHANIC).get(reverse("clearances-edit", args=[measured.pk])).content.decode()
    assert 'name="closing_as"' not in page


# Two people at one engine


def test_concurrent_set_of_another_user_warns_once_and_both_are_saved(login, staff) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    seen = client.get(new_url(job)).context["form"]["last_seen"].value()
    theirs = make_clearance_set(job, staff[Role.OWNER], clearance_mm="0.19")
    sent = entry({"c-1-intake-1-opening": "0.15"}, last_seen=str(seen))
    answer = client.post(new_url(job), sent)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "Ola Owner saved clearances as found for this job" in page
    assert reverse("clearances", args=[theirs.pk]) in page
    assert 'value="0.15"' in page
    again = {**sent, "last_seen": str(answer.context["form"]["last_seen"].value())}
    assert client.post(new_url(job), again).status_code == 302
    assert ClearanceSet.objects.count() == 2
    assert set(theirs.readings.values_list("clearance_mm", flat=True)) == {Decimal("0.19")}


def test_concurrent_set_of_the_other_kind_gives_no_warning(login, staff) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    seen = client.get(new_url(job, "as_left")).context["form"]["last_seen"].value()
    make_clearance_set(job, staff[Role.OWNER])
    sent = entry({"c-1-intake-1-opening": "0.15"}, last_seen=str(seen))
    assert client.post(new_url(job, "as_left"), sent).status_code == 302


# The cautions at the place


@pytest.mark.parametrize(
    "words",
    [
        "Engine cold: below 35 °C",
        "Turn the engine by hand, in its running direction only",
        "Timing marks as shown in the service manual",
        "turn the engine over twice by hand",
        "Measure again after tightening",
    ],
)
def test_form_as_left_shows_cautions(login, words: str) -> None:
    page = login(Role.MECHANIC).get(new_url(job_with(make_single_with_screws()), "as_left")).content.decode()
    assert words in page


# All valves before and after


def test_chart_has_a_row_for_each_valve(staff, shop) -> None:
    spec = make_engine(cylinders=1, intake_valves=1, exhaust_valves=1)
    job = job_with(spec)
    make_clearance_set(job, staff[Role.MECHANIC], clearance_mm="0.15")
    left = make_clearance_set(job, staff[Role.MECHANIC], clearance_mm="0.16", when="as_left")
    left.readings.filter(side="exhaust").update(
        clearance_mm=None, goes_mm=Decimal("0.30"), not_goes_mm=Decimal("0.32")
    )
    picture = build_chart(load_results(job).get(clearances_before_after), shop)
    assert picture is not None
    # ranges 0.10 to 0.35, ticks every 0.05 with one more at each end: 0.05 to 0.40, 0.35 mm in all
    assert [tick.text for tick in picture.ticks] == [f"{each / 100:.2f}" for each in range(5, 45, 5)]

    def at(length_mm: float) -> str:
        return f"{(length_mm - 0.05) / 0.35 * 100:.2f}%"

    exhaust, intake = picture.rows  # what was out of range as found comes first
    assert (exhaust.group, intake.group) == ("tight as found", "on target as found")
    assert (intake.range_at, intake.range_width) == (at(0.10), f"{0.10 / 0.35 * 100:.2f}%")
    assert (intake.target_at, intake.found.at, intake.left.at) == (at(0.16), at(0.15), at(0.16))
    assert (exhaust.left.low, exhaust.left.at, exhaust.left.high) == (at(0.30), at(0.31), at(0.32))
    assert exhaust.words == (
        "cylinder 1, exhaust; as found 0.15 mm, tight; as left 0.30 to 0.32 mm, on target"
    )


def test_set_shows_the_chart_and_the_drawing_of_all_valves(login, staff) -> None:
    found = make_clearance_set(make_job(), staff[Role.MECHANIC])
    page = login(Role.DESK).get(reverse("clearances", args=[found.pk])).content.decode()
    assert page.count('class="valves-plot" role="img"') == 12
    assert 'aria-label="cylinder 1, intake left; as found 0.15 mm' in page
    assert len(find(page, "//*[contains(@class, 'engine-read')]")) == 12


def test_answer_of_a_set_is_its_heading(login, staff) -> None:
    job = make_job()
    found = make_clearance_set(job, staff[Role.MECHANIC], clearance_mm="0.15")
    found.readings.filter(cylinder=1, side="exhaust").delete()
    left = make_clearance_set(job, staff[Role.MECHANIC], clearance_mm="0.16", when="as_left")
    left.readings.filter(side="exhaust").update(clearance_mm=Decimal("0.31"))
    client = login(Role.DESK)
    headings = [
        find(client.get(reverse("clearances", args=[pk])).text, "//h1")[0].text for pk in (found.pk, left.pk)
    ]
    # intake 0.10 to 0.20 mm, exhaust 0.25 to 0.35 mm with target 0.31 mm
    assert headings == [
        "4 of 10 tight as found; 2 not measured",
        "12 of 12 on target as left; 4 tight as found",
    ]


def test_chart_is_omitted_without_readings(shop) -> None:
    assert build_chart(pair_readings(make_engine(), {}), shop) is None
    assert build_chart(None, shop) is None


# Without a network


def test_repeated_submission_drops_the_draft(login) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    sent = entry(
        {"c-1-intake-1-opening": "0.15"}, form_key="7f1c5f6e-8f43-4c1a-9a54-3b7f5f0a1f10", draft="bench-a"
    )
    client.post(new_url(job), sent)
    client.get(
        reverse("job", args=[job.number]), {"open": "all"}
    )  # uses up the flash message of the first response
    page = client.post(new_url(job), sent, follow=True).content.decode()
    assert 'data-told="draft-saved bench-a"' in page
    assert ClearanceSet.objects.count() == 1


def test_limits_reach_the_script_with_all_digits(login) -> None:
    """A limit in inches has five decimals in mm; with four, a reading that meets it would be outside."""
    spec = make_engine(intake_low_mm=Decimal("0.14986"), intake_high_mm=Decimal("0.2"))
    page = login(Role.MECHANIC).get(new_url(job_with(spec))).content.decode()
    assert 'data-low="0.14986" data-high="0.2" data-target="0.16" data-tolerance="0.01"' in page
