"""Entering and reading clearance sets."""

import uuid
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone

from jobs.clearances.before_after import clearances_before_after
from jobs.clearances.engine_map import top_view
from jobs.clearances.facts import clearance_facts
from jobs.clearances.section import section
from jobs.clearances.valve_gaps import valve_gaps
from jobs.job.section import State
from jobs.models import (
    ClearanceReading,
    ClearanceSet,
    Job,
    ShimPlan,
    ShimPlanRow,
    Slot,
    Stage,
    StageEntry,
)
from tests.factories import (
    add_check,
    get_workstation,
    load_results,
    make_bike,
    make_channel_run,
    make_clearance_set,
    make_engine,
    make_instrument,
    make_job,
)
from tests.html import find, read_form, read_text
from workshop.models import EngineSpec, Role, ShopProfile

pytestmark = pytest.mark.django_db

HEAD = {
    "engine_temperature_c": "21",
    "measured_at": "2026-03-02T09:30",
    "times_right": "on",
    "instrument": "blades",
}
TRIPLE = [
    f"{cylinder}-{side}-{position}-opening"
    for cylinder in (1, 2, 3)
    for side in ("intake", "exhaust")
    for position in (1, 2)
]


def entry(boxes: dict[str, str] | None = None, **head: str) -> dict[str, str]:
    return {**HEAD, **head, **(boxes or {})}


def new_url(job: Job, when: str = "as_found") -> str:
    return reverse("clearances-new", args=[job.number, when])


def make_single_with_screws(**overrides: Any) -> EngineSpec:
    values = {
        "maker": "Orrin",
        "name": "One 350",
        "cylinders": 1,
        "arrangement": "single",
        "intake_valves": 1,
        "exhaust_valves": 1,
        "adjuster": "screw",
        "screw_pitch_mm": Decimal("0.75"),
        "shim_diameter_mm": None,
        "source_manual": "",
        "source_edition": "",
        "source_page": "",
    }
    return make_engine(**{**values, **overrides})


def make_desmo_twin(**overrides: Any) -> EngineSpec:
    values = {
        "maker": "Vespara",
        "name": "Twin 90",
        "cylinders": 2,
        "arrangement": "v",
        "front_bank_cylinders": 1,
        "adjuster": "desmodromic",
        "intake_valves": 1,
        "exhaust_valves": 1,
        "intake_closing_low_mm": Decimal("0.02"),
        "intake_closing_high_mm": Decimal("0.10"),
        "exhaust_closing_low_mm": Decimal("0.02"),
        "exhaust_closing_high_mm": Decimal("0.10"),
        "closing_shim_diameter_mm": Decimal("8.00"),
        "closing_shim_step_mm": Decimal("0.05"),
        "closing_shim_thinnest_mm": Decimal("4.00"),
        "closing_shim_thickest_mm": Decimal("6.00"),
    }
    return make_engine(**{**values, **overrides})


def job_with(spec: EngineSpec | None) -> Job:
    return make_job(bike=make_bike(engine_spec=spec))


def label_of(page: str, name: str) -> str:
    """Return an input's label as a screen reader says it, without what is hidden from it."""
    (label,) = find(page, f"//label[@for='id_{name}']")
    return "".join(label.xpath(".//text()[not(ancestor::*[@aria-hidden='true'])]")).strip()


# Entry


def test_form_has_a_labelled_box_for_each_valve(login) -> None:
    page = login(Role.MECHANIC).get(new_url(make_job())).content.decode()
    assert label_of(page, "c-2-exhaust-1-opening") == "cylinder 2, exhaust left"
    assert label_of(page, "s-2-exhaust-1-opening") == "cylinder 2, exhaust left: shim fitted, as marked"
    assert len(find(page, "//*[starts-with(@name, 'c-')]")) == 12
    assert "front of the bike" in page
    assert 'data-draft="clearances-' in page
    assert "Pellorin workshop book, 2, p. 41" in page


def test_set_stores_values_brackets_and_shims_of_measured_valves(login, staff) -> None:
    job = make_job()
    boxes = {
        "c-1-intake-1-opening": "0,12",
        "s-1-intake-1-opening": "155",
        "c-1-intake-2-opening": "0.10-0.12",
        "s-1-intake-2-opening": "1,60",
        "m-1-intake-2-opening": "1.605",
        "c-1-exhaust-1-opening": "0,25/0,30",
        "c-1-exhaust-2-opening": ".3",
        "n-1-exhaust-2-opening": "0.31",
    }
    response = login(Role.MECHANIC).post(new_url(job), entry(boxes))
    measured = job.clearance_sets.get()
    assert response.url == reverse("clearances", args=[measured.pk])
    assert measured.measured_by == staff[Role.MECHANIC]
    names = ("clearance_mm", "goes_mm", "not_goes_mm", "shim_marked_mm", "shim_measured_mm")
    kept = {
        (row.cylinder, row.side, row.position): tuple(
            None if getattr(row, name) is None else str(getattr(row, name).normalize()) for name in names
        )
        for row in measured.readings.all()
    }
    assert kept == {
        (1, "intake", 1): ("0.12", None, None, "1.55", None),
        (1, "intake", 2): (None, "0.1", "0.12", "1.6", "1.605"),
        (1, "exhaust", 1): (None, "0.25", "0.3", None, None),
        (1, "exhaust", 2): (None, "0.3", "0.31", None, None),
    }


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("tight", "is not a clearance"),
        ("0.10,0.12", "is not a clearance"),
        ("12", "hundredths of a millimetre (0.12 mm)"),
        ("0.0047", "inches (0.1194 mm)"),
        ("1.2", "tenths of a millimetre (0.12 mm)"),
        ("0.12-0.10", "must be thicker"),
        ("5 kg", "is not a clearance"),
    ],
)
def test_impossible_value_gives_error_at_its_box_and_is_kept(login, typed: str, sentence: str) -> None:
    job = make_job()
    boxes = {"c-1-intake-1-opening": "0.15", "c-3-intake-2-opening": typed}
    response = login(Role.MECHANIC).post(new_url(job), entry(boxes))
    assert response.status_code == 422
    assert sentence in str(response.context["form"].errors["c-3-intake-2-opening"])
    page = response.content.decode()
    assert f'value="{typed}"' in page
    assert 'value="0.15"' in page
    assert not ClearanceSet.objects.exists()


def test_implausible_value_is_saved_once_confirmed(login) -> None:
    job = make_job()
    boxes = {"c-1-intake-1-opening": "1.2"}
    response = login(Role.MECHANIC).post(new_url(job), entry(boxes))
    assert response.context["form"].needs_value_confirmation
    login(Role.MECHANIC).post(new_url(job), entry(boxes, figures_right="on"))
    assert job.clearance_sets.get().readings.get().clearance_mm == Decimal("1.2")


def test_inches_are_stored_exactly_by_shop_unit_or_typed_unit(login, shop) -> None:
    written, typed = make_job(), make_job()
    client = login(Role.MECHANIC)
    client.post(new_url(written), entry({"c-1-intake-1-opening": "0.005 in"}))
    ShopProfile.objects.filter(pk=1).update(length_unit="in")
    client.post(new_url(typed), entry({"c-1-intake-1-opening": "0.005"}))
    # 0.005 × 25.4 mm = 0.127 mm exactly
    for job in (written, typed):
        assert job.clearance_sets.get().readings.get().clearance_mm == Decimal("0.127")


def test_ambiguous_marking_asks_for_the_third_decimal(login) -> None:
    # In a 0.025 mm series 1.775 mm may be stamped 177 or 178.
    job = job_with(make_engine(shim_step_mm=Decimal("0.025")))
    client = login(Role.MECHANIC)
    boxes = {"c-1-intake-1-opening": "0.15", "s-1-intake-1-opening": "177"}
    response = client.post(new_url(job), entry(boxes))
    assert response.status_code == 422
    assert "may mean 1.77 or 1.775 mm" in str(response.context["form"].errors["s-1-intake-1-opening"])
    client.post(new_url(job), entry({**boxes, "s-1-intake-1-opening": "1,775"}))
    assert job.clearance_sets.get().readings.get().shim_marked_mm == Decimal("1.775")


def test_measured_thickness_settles_an_ambiguous_marking(login) -> None:
    job = job_with(make_engine(shim_step_mm=Decimal("0.025")))
    boxes = {
        "c-1-intake-1-opening": "0.15",
        "s-1-intake-1-opening": "177",
        "m-1-intake-1-opening": "1.775",
    }
    login(Role.MECHANIC).post(new_url(job), entry(boxes))
    row = job.clearance_sets.get().readings.get()
    assert (row.shim_marked_mm, row.shim_mm) == (Decimal("1.77"), Decimal("1.775"))
    page = login(Role.MECHANIC).get(reverse("clearances-edit", args=[row.clearance_set_id])).content.decode()
    assert 'value="1.770"' in page


def test_warm_engine_is_saved_once_confirmed(login) -> None:
    job = make_job()
    boxes = {"c-1-intake-1-opening": "0.15"}
    response = login(Role.MECHANIC).post(new_url(job), entry(boxes, engine_temperature_c="48"))
    assert response.status_code == 422
    assert "At 48 °C the engine is too warm" in str(response.context["form"].errors["engine_temperature_c"])
    login(Role.MECHANIC).post(new_url(job), entry(boxes, engine_temperature_c="48", cold_check="on"))
    assert job.clearance_sets.get().engine_temperature_c == 48


def test_empty_set_and_shim_without_clearance_are_rejected(login) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    assert b"Enter the clearance of at least one valve." in client.post(new_url(job), entry()).content
    response = client.post(new_url(job), entry({"s-1-intake-1-opening": "155"}))
    assert "Enter the clearance for this valve" in str(
        response.context["form"].errors["c-1-intake-1-opening"]
    )
    assert not ClearanceSet.objects.exists()


def test_repeated_submission_saves_one_set(login) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    sent = entry({"c-1-intake-1-opening": "0.15"}, form_key=str(uuid.uuid4()))
    first, second = client.post(new_url(job), sent), client.post(new_url(job), sent)
    assert first.url == second.url
    assert ClearanceSet.objects.count() == 1


def test_saved_set_drops_the_draft_in_the_browser(login) -> None:
    job = make_job()
    sent = entry({"c-1-intake-1-opening": "0.15"})
    page = login(Role.MECHANIC).post(new_url(job), sent, follow=True).content.decode()
    assert f'data-told="draft-saved clearances-{job.number}-as_found"' in page


@pytest.mark.parametrize("role", [Role.DESK, Role.TUNER])
def test_entry_of_clearances_requires_mechanic_role(login, staff, role: Role) -> None:
    job = make_job()
    measured = make_clearance_set(job, staff[Role.MECHANIC])
    for url in (new_url(job), reverse("clearances-edit", args=[measured.pk])):
        assert login(role).get(url).status_code == 403
        assert login(role).post(url, entry()).status_code == 403
    assert login(role).get(reverse("clearances", args=[measured.pk])).status_code == 200


def test_clearances_require_login(client) -> None:
    response = client.get(new_url(make_job()))
    assert response.status_code == 302
    assert response.url.startswith(reverse("login"))


def test_unknown_job_set_or_kind_gives_404(login) -> None:
    client = login(Role.MECHANIC)
    job = make_job()
    for url in (
        reverse("clearances-new", args=["1900-001", "as_found"]),
        reverse("clearances-new", args=[job.number, "some_day"]),
        reverse("clearances", args=[999]),
        reverse("clearances-edit", args=[999]),
    ):
        assert client.get(url).status_code == 404


def assert_tells_who_chooses_the_engine(page: str, job: Job) -> None:
    """Assert that the page names the role that can open the bike's form."""
    assert "The service desk can choose this bike's engine." in page
    assert reverse("bike-edit", args=[job.bike_id]) not in page


def test_bike_without_engine_spec_shows_who_can_choose_it(login, staff) -> None:
    job = job_with(None)
    page = login(Role.MECHANIC).get(new_url(job)).text
    assert "no engine spec yet" in page
    assert_tells_who_chooses_the_engine(page, job)
    kept = ClearanceSet.objects.create(
        job=job, measured_by=staff[Role.MECHANIC], measured_at=timezone.now(), engine_temperature_c=21
    )
    shown = reverse("clearances", args=[kept.pk])
    assert_tells_who_chooses_the_engine(login(Role.MECHANIC).get(shown).text, job)
    assert reverse("bike-edit", args=[job.bike_id]) in login(Role.DESK).get(shown).text


# Editing


def stored_boxes(page: str) -> dict[str, str]:
    fields = read_form(page, "//form[.//input[@name='version']]")
    return {name: value for name, value in fields.items() if name == "version" or name[1] == "-"}


def test_unchanged_edit_keeps_all_values(login, staff) -> None:
    job = make_job()
    measured = make_clearance_set(job, staff[Role.MECHANIC])
    row = measured.readings.first()
    row.clearance_mm, row.goes_mm, row.not_goes_mm = None, Decimal("0.1"), Decimal("0.125")
    row.save()
    before = list(measured.readings.values())
    client, url = login(Role.MECHANIC), reverse("clearances-edit", args=[measured.pk])
    client.post(url, entry(stored_boxes(client.get(url).content.decode())))
    assert list(measured.readings.values()) == before


def test_emptied_box_becomes_not_measured(login, staff) -> None:
    measured = make_clearance_set(make_job(), staff[Role.MECHANIC])
    client, url = login(Role.MECHANIC), reverse("clearances-edit", args=[measured.pk])
    boxes = stored_boxes(client.get(url).content.decode())
    boxes |= {"c-1-intake-1-opening": "", "s-1-intake-1-opening": ""}
    client.post(url, entry(boxes))
    assert measured.readings.count() == 11


def test_edit_conflict_shows_and_merges_readings_of_another_mechanic(login, staff) -> None:
    measured = make_clearance_set(make_job(), staff[Role.MECHANIC])
    client, url = login(Role.OWNER), reverse("clearances-edit", args=[measured.pk])
    boxes = stored_boxes(client.get(url).content.decode())
    theirs = {**boxes, "c-1-intake-1-opening": "0.11", "c-1-intake-2-opening": "0.12"}
    assert login(Role.MECHANIC).post(url, entry(theirs)).status_code == 302

    mine = {**boxes, "c-1-intake-1-opening": "0.19", "c-3-exhaust-2-opening": "0.30"}
    response = client.post(url, entry(mine))
    assert response.status_code == 422
    assert measured.readings.get(cylinder=1, side="intake", position=1).clearance_mm == Decimal("0.11")
    changes = {
        change.label: (change.was, change.theirs, change.yours)
        for change in response.context["form"].conflict.changes
    }
    assert changes["cylinder 1, intake left"] == ("0.15", "0.11", "0.19")
    assert changes["cylinder 1, intake right"] == ("0.15", "0.12", "0.12")
    assert "Mika Mechanic" in response.content.decode()

    again = stored_boxes(response.content.decode())
    assert client.post(url, entry(again)).status_code == 302
    now = {
        (row.cylinder, row.side, row.position): row.clearance_mm
        for row in measured.readings.exclude(clearance_mm=Decimal("0.15"))
    }
    assert now == {
        (1, "intake", 1): Decimal("0.19"),  # mine, after the conflict was shown
        (1, "intake", 2): Decimal("0.12"),  # theirs, where I had changed nothing
        (3, "exhaust", 2): Decimal("0.30"),
    }


# The engine seen from above


def picture(spec: EngineSpec) -> list[Any]:
    banks = top_view(spec, lambda valve_gap: valve_gap.valve.position)
    return [
        (bank.name, [(c.number, [side.side for side in c.sides]) for c in bank.cylinders]) for bank in banks
    ]


def test_inline_engine_has_intake_on_the_side_of_the_spec() -> None:
    rear, front = ["exhaust", "intake"], ["intake", "exhaust"]
    assert picture(make_engine()) == [("", [(1, rear), (2, rear), (3, rear)])]
    turned = make_engine(name="turned", intake_at_front=True)
    assert picture(turned) == [("", [(1, front), (2, front), (3, front)])]


def test_v_engine_has_both_intakes_in_its_valley() -> None:
    assert picture(make_desmo_twin()) == [
        ("front head", [(1, ["exhaust", "intake"])]),
        ("rear head", [(2, ["intake", "exhaust"])]),
    ]


def test_boxer_has_a_left_and_a_right_bank() -> None:
    spec = make_engine(cylinders=2, arrangement="boxer")
    assert [bank[0] for bank in picture(spec)] == ["left head", "right head"]


def test_positively_closed_valve_has_two_labelled_boxes(login) -> None:
    page = login(Role.MECHANIC).get(new_url(job_with(make_desmo_twin()))).content.decode()
    assert label_of(page, "c-1-exhaust-1-opening") == "cylinder 1, exhaust, opening"
    assert label_of(page, "c-1-exhaust-1-closing") == "cylinder 1, exhaust, closing"


def test_engine_with_screws_shows_turns_instead_of_shims(login, staff) -> None:
    job = job_with(make_single_with_screws())
    page = login(Role.MECHANIC).get(new_url(job)).content.decode()
    assert 'name="s-' not in page
    assert "Measure again after tightening" in page
    measured = make_clearance_set(job, staff[Role.MECHANIC], clearance_mm="0.31")
    page = login(Role.DESK).get(reverse("clearances", args=[measured.pk])).content.decode()
    # intake: (0.31 - 0.16) mm / 0.75 mm a turn = 0.20 turn in; exhaust is on its target of 0.31 mm
    assert "0.20 turn in" in page
    assert "no source given" in page


# A set as measured


def test_set_shows_verdict_range_and_needed_shim(login, staff) -> None:
    measured = make_clearance_set(make_job(), staff[Role.MECHANIC], clearance_mm="0.22")
    page = login(Role.TUNER).get(reverse("clearances", args=[measured.pk])).content.decode()
    text = read_text(page)
    # intake 0.10 to 0.20, target 0.16: 2.50 + 0.22 - 0.16 = 2.56, made in steps of 0.05: 2.55 gives 0.17
    assert "Cylinder 1, intake left 0.22 mm loose 0.10 to 0.20 mm 0.16 mm 2.50 mm 2.55 mm → 0.17 mm" in text
    # exhaust 0.25 to 0.35, target 0.31: 2.50 + 0.22 - 0.31 = 2.41; 2.40 gives 0.32
    assert "Cylinder 1, exhaust left 0.22 mm tight 0.25 to 0.35 mm 0.31 mm 2.50 mm 2.40 mm → 0.32 mm" in text


def test_hints_ask_for_finer_blades_and_for_a_micrometer(login, staff) -> None:
    measured = make_clearance_set(make_job(), staff[Role.MECHANIC])
    row = measured.readings.first()
    row.clearance_mm, row.goes_mm, row.not_goes_mm = None, Decimal("0.18"), Decimal("0.23")
    row.shim_marked_mm = Decimal("2.62")
    row.save()
    page = login(Role.DESK).get(reverse("clearances", args=[measured.pk])).content.decode()
    assert "may be inside or outside 0.10 to 0.20 mm. Use finer blades" in page
    assert "2.62 mm is not an available size. Measure this shim" in page


def make_plan(measured: ClearanceSet, by: Any, predicted_mm: str) -> ShimPlan:
    plan = ShimPlan.objects.create(clearance_set=measured, policy="target", accepted_by=by)
    for row in measured.readings.all():
        ShimPlanRow.objects.create(
            plan=plan,
            cylinder=row.cylinder,
            side=row.side,
            position=row.position,
            gap=row.gap,
            out_mm=Decimal("2.5"),
            in_mm=Decimal("2.55"),
            origin="buy",
            predicted_mm=Decimal(predicted_mm),
        )
    return plan


def test_as_left_is_compared_with_the_prediction_of_the_plan(login, staff) -> None:
    job = make_job()
    found = make_clearance_set(job, staff[Role.MECHANIC], clearance_mm="0.22")
    make_plan(found, staff[Role.MECHANIC], "0.17")
    left = make_clearance_set(job, staff[Role.MECHANIC], clearance_mm="0.18", when="as_left")
    near = login(Role.DESK).get(reverse("clearances", args=[left.pk])).content.decode()
    assert "Not what the shim plan predicted" not in near
    row = left.readings.first()
    row.clearance_mm = Decimal("0.20")
    row.save()
    far = login(Role.DESK).get(reverse("clearances", args=[left.pk])).content.decode()
    assert "0.03 mm looser than the 0.17 mm predicted" in far
    assert "Check for a wrong shim, a shim not seated or the wrong valve" in far


def test_form_as_left_starts_with_the_shims_of_the_accepted_plan(login, staff) -> None:
    job = make_job()
    found = make_clearance_set(job, staff[Role.MECHANIC], clearance_mm="0.22")
    make_plan(found, staff[Role.MECHANIC], "0.17")
    client = login(Role.MECHANIC)
    page = client.get(new_url(job, "as_left")).content.decode()
    assert page.count('value="2.55"') == 12
    assert "predicted 0.17" in page
    shims = {f"s-{slug}": "2.55" for slug in TRIPLE}
    client.post(new_url(job, "as_left"), entry({**shims, "c-1-intake-1-opening": "0.17"}))
    # valves not measured again stay not measured, whatever shim the plan put there
    assert ClearanceReading.objects.filter(clearance_set__when="as_left").count() == 1


# Before and after


def test_summary_counts_valves_out_of_range_before_and_on_target_now(staff) -> None:
    make_engine()
    job = make_job()
    found = make_clearance_set(job, staff[Role.MECHANIC], clearance_mm="0.15")
    # 0.15 is in range for the 6 intake valves and below it for the 6 exhaust valves; 3 intakes go out as well
    for row in found.readings.filter(side="intake", position=1):
        row.clearance_mm = Decimal("0.05")
        row.save()
    left = make_clearance_set(job, staff[Role.MECHANIC], clearance_mm="0.16", when="as_left")
    left.readings.filter(side="exhaust").update(clearance_mm=Decimal("0.31"))
    assert (
        load_results(job).get(clearances_before_after).summary
        == "9 of 12 out of range as found; all 12 on target as left"
    )


def test_summary_ignores_valves_not_measured_again(staff) -> None:
    make_engine()
    job = make_job()
    make_clearance_set(job, staff[Role.MECHANIC], clearance_mm="0.15")
    left = make_clearance_set(job, staff[Role.MECHANIC], clearance_mm="0.31", when="as_left")
    left.readings.filter(side="intake").delete()
    left.readings.filter(cylinder=3).delete()
    assert load_results(job).get(clearances_before_after).summary == (
        "6 of 12 out of range as found; as left: 4 on target, 6 in range as found but not measured again, "
        "2 not measured again"
    )


def test_later_set_of_the_same_kind_overrides_the_earlier_one(staff) -> None:
    make_engine()
    job = make_job()
    make_clearance_set(job, staff[Role.MECHANIC], clearance_mm="0.05", when="as_left")
    make_clearance_set(job, staff[Role.MECHANIC], clearance_mm="0.15", when="as_left")
    last = {
        row.left.row.clearance_mm for row in load_results(job).get(clearances_before_after).rows if row.left
    }
    assert last == {Decimal("0.15")}


def section_state(job: Job) -> tuple[State, str]:
    made = section(load_results(job))
    return made.state, made.summary


def test_section_state_follows_the_clearances(staff) -> None:
    by = staff[Role.MECHANIC]
    job = make_job()
    assert section_state(job) == (State.EMPTY, "not measured yet")
    found = make_clearance_set(job, by, clearance_mm="0.15")
    assert section_state(job) == (State.ATTENTION, "6 out of range as found")
    found.readings.filter(side="exhaust").update(clearance_mm=Decimal("0.31"))
    assert section_state(job)[0] == State.DONE
    found.readings.filter(cylinder=2).delete()
    assert section_state(job) == (State.IN_HAND, "4 of 12 not measured")


def test_section_waits_for_as_left_after_a_plan_is_accepted(staff) -> None:
    by = staff[Role.MECHANIC]
    job = make_job()
    found = make_clearance_set(job, by, clearance_mm="0.15")
    found.readings.filter(side="exhaust").update(clearance_mm=Decimal("0.31"))
    make_plan(found, by, "0.16")
    assert section_state(job)[0] == State.IN_HAND
    left = make_clearance_set(job, by, clearance_mm="0.16", when="as_left")
    assert section_state(job) == (State.ATTENTION, "6 out of range as left")
    left.readings.filter(side="exhaust").update(clearance_mm=Decimal("0.31"))
    assert section_state(job)[0] == State.DONE


def test_section_without_engine_spec_links_to_the_bike(login, staff) -> None:
    job = job_with(None)
    assert section_state(job) == (State.EMPTY, "the bike has no engine yet")
    url = f"{reverse('job', args=[job.number])}?open=clearances"
    assert_tells_who_chooses_the_engine(login(Role.MECHANIC).get(url).text, job)
    assert reverse("bike-edit", args=[job.bike_id]) in login(Role.DESK).get(url).text


def test_section_needs_no_queries(staff, django_assert_num_queries) -> None:
    job = make_job()
    found = make_clearance_set(job, staff[Role.MECHANIC])
    make_plan(found, staff[Role.MECHANIC], "0.16")
    results = load_results(job)
    results.page.read_all()
    with django_assert_num_queries(0):
        section(results)


def test_opening_and_closing_gaps_have_their_own_ranges() -> None:
    by_key = {
        valve_gap.key: (valve_gap.low_mm, valve_gap.high_mm) for valve_gap in valve_gaps(make_desmo_twin())
    }
    assert by_key["1-intake-1", "closing"] == (Decimal("0.02"), Decimal("0.10"))
    assert by_key["1-intake-1", "opening"] == (Decimal("0.10"), Decimal("0.20"))
    assert len(by_key) == 8


# A cold engine

VALVE = {"c-1-intake-1-opening": "0.12"}
RAN = datetime(2026, 3, 2, 6, 10, tzinfo=UTC)  # the day of HEAD, whose clock is UTC
NOT_KNOWN = "The engine ran that day (06:10). It is not known whether it was cold when measured."


def run_engine(job: Job, by: Any, known_by: str = "run", at: datetime = RAN) -> None:
    if known_by == "run":
        make_channel_run(job, by, f"{at:%d %H%M}.csv", {"engine_speed_rpm": [3000, 4000]}, made_at=at)
    elif known_by == "slot":
        place = get_workstation("dyno")
        Slot.objects.create(job=job, place=place, starts_at=at, ends_at=at + timedelta(hours=1))
    else:
        StageEntry.objects.create(job=job, stage=Stage.ROLLER, by=by, at=at)


def shown_everywhere(client, measured: ClearanceSet) -> list[str]:
    """Return what the page of a set, the job page and the sheet say of it."""
    results = load_results(measured.job)
    context = {"facts": results.get(clearance_facts), "u": results.shop, "pictures": {}}
    pages = [
        client.get(reverse("clearances", args=[measured.pk])).text,
        client.get(reverse("job", args=[measured.job]), {"open": "all"}).text,
        render_to_string("jobs/clearances/_sheet.html", context),
    ]
    return [" ".join(page.split()) for page in pages]


@pytest.mark.parametrize(
    ("known_by", "sentence"),
    [
        ("run", "A run of this bike was made at 06:10 that day."),
        ("slot", "This bike had a slot on the dyno from 06:10 that day."),
        ("stage", "This bike went on the dyno at 06:10 that day."),
    ],
)
def test_clearances_of_an_engine_that_ran_that_day_are_questioned(login, staff, known_by, sentence) -> None:
    job = make_job()
    earlier_job = make_job(bike=job.bike)  # of the same bike
    run_engine(earlier_job, staff[Role.TUNER], known_by)
    client = login(Role.MECHANIC)
    refused = client.post(new_url(job), entry(VALVE))
    assert refused.status_code == 422
    question = f"{sentence} Clearances are measured on a cold engine. Enter whether it was cold."
    assert question in str(refused.context["form"].errors["engine_cold"])
    answered = entry(VALVE, engine_cold="cold", stood_hours="3,5")
    assert client.post(new_url(job), answered).status_code == 302
    measured = job.clearance_sets.get()
    assert (measured.engine_cold, measured.stood_hours, measured.ran_at) == ("cold", 3.5, RAN)
    for page in shown_everywhere(client, measured):
        assert (
            "The engine ran that day (06:10). It was cold, no part warmer than a hand when measured, "
            "after 3.5 h at rest." in page
        )


def test_unanswered_question_is_asked_once_and_then_not_known(login, staff) -> None:
    job, client = make_job(), login(Role.MECHANIC)
    run_engine(job, staff[Role.TUNER])
    refused = client.post(new_url(job), entry(VALVE))
    assert find(refused.text, "//input[@name='heat_asked']/@value") == ["on"]
    assert client.post(new_url(job), entry(VALVE, heat_asked="on")).status_code == 302
    for page in shown_everywhere(client, job.clearance_sets.get()):
        assert NOT_KNOWN in page


def test_clearances_of_a_warm_engine_say_so(login, staff) -> None:
    job, client = make_job(), login(Role.MECHANIC)
    run_engine(job, staff[Role.TUNER])
    client.post(new_url(job), entry(VALVE, engine_cold="warm"))
    sentence = "It was still warm when measured. Clearances of a warm engine may differ from those of a cold"
    for page in shown_everywhere(client, job.clearance_sets.get()):
        assert sentence in page


def test_run_imported_after_the_clearances_questions_them(login, staff) -> None:
    job, client = make_job(), login(Role.MECHANIC)
    assert client.post(new_url(job), entry(VALVE)).status_code == 302
    measured = job.clearance_sets.get()
    assert not any("The engine ran that day" in page for page in shown_everywhere(client, measured))
    run_engine(job, staff[Role.TUNER])
    for page in shown_everywhere(client, measured):
        assert NOT_KNOWN in page


@pytest.mark.parametrize(
    "at", [RAN - timedelta(days=1), RAN + timedelta(hours=5)], ids=["day before", "later"]
)
def test_engine_that_ran_the_day_before_or_later_is_not_questioned(login, staff, at) -> None:
    job, client = make_job(), login(Role.MECHANIC)
    run_engine(job, staff[Role.TUNER], at=at)
    assert client.post(new_url(job), entry(VALVE)).status_code == 302
    assert "The engine ran that day" not in shown_everywhere(client, job.clearance_sets.get())[0]


def test_form_asks_from_the_start_if_the_engine_ran_today(login, staff) -> None:
    job, client = make_job(), login(Role.MECHANIC)
    shown = "//select[@name='engine_cold'][not(ancestor::*[@hidden])]"
    assert not find(client.get(new_url(job)).text, shown)
    midnight = timezone.localtime().replace(hour=0, minute=0, second=0, microsecond=0)
    run_engine(job, staff[Role.TUNER], at=midnight)
    assert find(client.get(new_url(job)).text, shown)


# What it was measured with


def test_instruments_that_the_mechanic_used_last_are_saved_without_a_choice(login, staff) -> None:
    own, other = make_instrument("feeler", "Blades", "FG-2"), make_instrument("feeler", "Blades", "FG-9")
    micrometer = make_instrument("micrometer", "Micrometer", "MM-1")
    mechanic, job = staff[Role.MECHANIC], make_job()
    make_clearance_set(make_job(), mechanic, feeler_gauge=own, micrometer=micrometer)
    make_clearance_set(make_job(), staff[Role.OWNER], feeler_gauge=other)
    client = login(Role.MECHANIC)
    sent = read_form(client.get(new_url(job)), "//main//form")
    boxes = {"c-1-intake-1-opening": "0.15", "m-1-intake-1-opening": "2.502"}
    response = client.post(new_url(job), {**sent, **boxes, "engine_temperature_c": "21"})
    assert response.status_code == 302
    measured = job.clearance_sets.get()
    assert (measured.feeler_gauge, measured.micrometer) == (own, micrometer)
    assert "Blades (FG-2); shims with Micrometer (MM-1)" in read_text(client.get(response.url))


def test_micrometer_is_not_recorded_if_no_shim_was_measured(login, staff) -> None:
    micrometer, job = make_instrument("micrometer", "Micrometer"), make_job()
    boxes = {"c-1-intake-1-opening": "0.15", "micrometer": str(micrometer.pk)}
    login(Role.MECHANIC).post(new_url(job), entry(boxes))
    assert job.clearance_sets.get().micrometer is None


def test_overdue_instrument_is_offered_with_that_and_a_withdrawn_one_only_where_it_was_used(
    login, staff
) -> None:
    overdue, withdrawn = make_instrument("feeler", "Blades", "FG-2"), make_instrument("feeler", "Old blades")
    add_check(overdue, date(2024, 1, 10), date(2025, 1, 10))
    measured = make_clearance_set(make_job(), staff[Role.MECHANIC], feeler_gauge=withdrawn)
    withdrawn.withdrawn = True
    withdrawn.save()
    client = login(Role.MECHANIC)

    def options(url: str) -> list[str]:
        return [read_text(option) for option in find(client.get(url), "//*[@name='feeler_gauge']/option")]

    offered = ["which gauges?", "FG-2: check overdue since 10 Jan 2025: Blades"]
    assert options(new_url(make_job())) == offered
    assert options(reverse("clearances-edit", args=[measured.pk])) == [*offered, "Old blades"]


def test_shop_without_instruments_has_no_choice_of_them(login) -> None:
    page = login(Role.MECHANIC).get(new_url(make_job()))
    assert find(page, "//*[@name='instrument']")
    assert not find(page, "//*[@name='feeler_gauge' or @name='micrometer']")
