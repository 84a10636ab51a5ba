"""Shim plans: compared, accepted, printed and undone, with the stock they use."""

import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.db.models import F
from django.urls import reverse

from jobs.clearances.facts import clearance_facts
from jobs.clearances.shim_plan import all_plans, collect_plan_inputs
from jobs.models import ClearanceSet, ShimPlan
from tests.factories import load_results, make_clearance_set, make_engine, make_job
from tests.html import find, read_rows, read_text, read_values
from tests.jobs.clearances.test_clearances import job_with, make_desmo_twin, make_single_with_screws
from workshop.models import EngineSpec, Role, ShimStock

pytestmark = pytest.mark.django_db


def plan_url(measured: ClearanceSet) -> str:
    return reverse("shim-plan", args=[measured.pk])


def accept_url(measured: ClearanceSet) -> str:
    return reverse("shim-plan-accept", args=[measured.pk])


def make_twin_set(staff: Any, **overrides: Any) -> ClearanceSet:
    """Measure a parallel twin. Intake 0.10 to 0.20 (0.16), exhaust 0.25 to 0.35 (0.31).

    Cylinder 1 intake: 2.50 with 0.26, needs 2.60. Cylinder 2 intake: 2.60 with 0.06, needs 2.50:
    they take each other's. Cylinder 1 exhaust: 2.50 with 0.31, on target. Cylinder 2 exhaust: 2.50 with
    0.21, needs 2.40.
    """
    spec = make_engine(cylinders=2, intake_valves=1, exhaust_valves=1, **overrides)
    measured = make_clearance_set(job_with(spec), staff[Role.MECHANIC])
    for cylinder, side, clearance, shim in (
        (1, "intake", "0.26", "2.50"),
        (2, "intake", "0.06", "2.60"),
        (1, "exhaust", "0.31", "2.50"),
        (2, "exhaust", "0.21", "2.50"),
    ):
        measured.readings.filter(cylinder=cylinder, side=side).update(
            clearance_mm=Decimal(clearance), shim_marked_mm=Decimal(shim)
        )
    return measured


def put_in_stock(thickness: str, count: int, diameter: str = "7.48") -> ShimStock:
    return ShimStock.objects.create(
        diameter_mm=Decimal(diameter), thickness_mm=Decimal(thickness), count=count
    )


def accept(client: Any, measured: ClearanceSet, policy: str = "target", **overrides: str) -> Any:
    page = client.get(plan_url(measured), {"plan": policy}).content.decode()
    (form,) = find(page, f"//form[.//input[@name='policy'][@value='{policy}']]")
    (fingerprint,) = read_values(form, "fingerprint")
    return client.post(accept_url(measured), {"policy": policy, "fingerprint": fingerprint, **overrides})


def test_page_shows_three_plans_with_rows_reasons_and_totals(login, staff) -> None:
    measured = make_twin_set(staff)
    text = read_text(login(Role.DESK).get(plan_url(measured)))
    for policy in ("Closest to target", "Fewest shims to buy", "Fewest camshafts removed"):
        assert policy in text
    assert "3 shims to change: 2 moved from another valve, 1 to buy" in text
    row = "Cylinder 1, intake 2.50 mm 2.60 mm 0.16 mm from cylinder 2, intake, exactly on target"
    assert row in text
    assert "To buy 1: 2.40 mm" in text
    assert "Shims to change 3 of 4" in text
    assert "Accept plan" not in text


def test_drawing_shows_old_and_new_shim_and_what_they_give(login, staff) -> None:
    measured = make_twin_set(staff)
    row = measured.readings.get(cylinder=2, side="exhaust")
    row.clearance_mm, row.goes_mm, row.not_goes_mm = None, Decimal("0.20"), Decimal("0.22")
    row.save()
    page = login(Role.MECHANIC).get(plan_url(measured)).text
    (valve,) = [
        box
        for box in find(page, "//*[contains(@class, 'engine-read')]")
        if "Cylinder 2, exhaust" in box.text_content()
    ]
    # 2.50 + 0.21 - 2.40 = 0.31 mm, as wide as the blades are apart
    drawn = " ".join(valve.text_content().split())
    assert drawn == (
        "Cylinder 2, exhaust: 250 → to 240 2.50 to 2.40 mm, to buy gives 0.30 to 0.32 mm on target"
    )


def test_shim_that_moves_to_another_valve_is_to_be_measured(login, staff) -> None:
    measured = make_twin_set(staff)
    sentence = (
        "Measure before they go into another valve: the shims of cylinder 2, intake; cylinder 1, intake."
    )
    client = login(Role.MECHANIC)
    assert sentence in read_text(client.get(plan_url(measured)))
    measured.readings.filter(side="intake").update(shim_measured_mm=F("shim_marked_mm"))
    assert "go into another valve" not in read_text(client.get(plan_url(measured)))


def test_plan_prefers_stock_of_the_same_diameter_to_buying(staff) -> None:
    measured = make_twin_set(staff)
    spec = measured.job.bike.engine_spec
    assert spec is not None
    put_in_stock("2.40", 1, diameter="9.48")
    plans = all_plans(collect_plan_inputs(spec, measured.readings.all()))
    assert [plan.shims_to_buy for plan in plans] == [1, 1, 1]
    put_in_stock("2.40", 1)
    plans = all_plans(collect_plan_inputs(spec, measured.readings.all()))
    assert [plan.shims_to_buy for plan in plans] == [0, 0, 0]


def test_plan_leaves_camshafts_in_range_alone(staff) -> None:
    measured = make_twin_set(staff)
    measured.readings.filter(side="exhaust").update(clearance_mm=Decimal("0.27"))
    spec = measured.job.bike.engine_spec
    assert spec is not None
    lifted = {
        plan.policy.value: plan.camshafts_lifted
        for plan in all_plans(collect_plan_inputs(spec, measured.readings.all()))
    }
    assert lifted["fewest_camshafts"] == ["intake camshaft"]


def test_accepting_saves_the_plan_and_takes_shims_from_stock(login, staff) -> None:
    measured = make_twin_set(staff)
    shims, other = put_in_stock("2.40", 3), put_in_stock("2.70", 2)
    response = accept(login(Role.MECHANIC), measured)
    assert response.url == plan_url(measured)
    plan = ShimPlan.objects.get()
    assert (plan.policy, plan.accepted_by) == ("target", staff[Role.MECHANIC])
    assert plan.stock_booked_out_at is not None
    rows = {
        (row.cylinder, row.side): (row.in_mm, row.origin, row.origin_detail, row.predicted_mm)
        for row in plan.rows.all()
    }
    assert rows == {
        (1, "intake"): (Decimal("2.6"), "valve", "cylinder 2, intake", Decimal("0.16")),
        (2, "intake"): (Decimal("2.5"), "valve", "cylinder 1, intake", Decimal("0.16")),
        (1, "exhaust"): (Decimal("2.5"), "stays", "", Decimal("0.31")),
        (2, "exhaust"): (Decimal("2.4"), "stock", "", Decimal("0.31")),
    }
    shims.refresh_from_db()
    other.refresh_from_db()
    assert (shims.count, other.count) == (2, 2)
    assert shims.history.count() == 2


def test_page_and_worksheet_show_the_accepted_plan(login, staff) -> None:
    measured = make_twin_set(staff)
    put_in_stock("2.40", 1)
    client = login(Role.MECHANIC)
    accept(client, measured)
    page, slip = (
        read_text(client.get(reverse(name, args=[measured.pk]))) for name in ("shim-plan", "shim-plan-slip")
    )
    assert "Accepted shim plan" in page
    assert "From stock 1 × 2.40 mm" in page
    # 2.50 comes out of cylinder 2 exhaust and goes nowhere
    assert "Removed 1 × 2.50 mm" in page
    assert "Cylinder 2, exhaust 2.50 mm 2.40 mm from stock 0.31 mm" in slip
    assert "turn the engine over twice by hand" in slip


ODD_SIZES = {
    "shim_thinnest_mm": Decimal("1.20"),
    "shim_thickest_mm": Decimal("3.50"),
    "shim_step_mm": Decimal("0.025"),
}


def test_doubtful_shim_that_is_moved_is_named_on_plan_and_worksheet(login, staff) -> None:
    measured = make_twin_set(staff, **ODD_SIZES)
    # intake of cylinder 2 has a shim marked 2.57, which may be 2.575 mm, and cylinder 1 can use it
    measured.readings.filter(cylinder=2, side="intake").update(shim_marked_mm=Decimal("2.57"))
    client = login(Role.MECHANIC)
    plans = read_text(client.get(plan_url(measured), {"plan": "fewest_new"}))
    doubt = "The shim that goes in may be 2.575 or 2.57 mm: measure it"
    assert doubt in plans
    accept(client, measured, policy="fewest_new")
    assert doubt in read_text(client.get(reverse("shim-plan-slip", args=[measured.pk])))
    measured.readings.filter(cylinder=2, side="intake").update(shim_measured_mm=Decimal("2.57"))
    ShimPlan.objects.all().delete()
    assert "measure it" not in read_text(client.get(plan_url(measured), {"plan": "fewest_new"}))


def test_valve_on_target_keeps_a_shim_with_an_odd_marking(login, staff) -> None:
    measured = make_twin_set(staff, **ODD_SIZES)
    measured.readings.filter(cylinder=1, side="exhaust").update(shim_marked_mm=Decimal("2.51"))
    page = login(Role.MECHANIC).get(reverse("clearances", args=[measured.pk]))
    rows = [" ".join(cells) for cells in read_rows(page, "//table//tbody")]
    (row,) = [row for row in rows if row.startswith("Cylinder 1, exhaust")]
    assert row.endswith("stays")


def test_plan_is_refused_if_stock_was_used_in_the_meantime(login, staff) -> None:
    measured = make_twin_set(staff)
    shims, other = put_in_stock("2.40", 1), put_in_stock("2.70", 2)
    client = login(Role.MECHANIC)
    page = client.get(plan_url(measured)).content.decode()
    seen = read_values(page, "fingerprint")
    shims.count = 0
    shims.save()
    response = client.post(accept_url(measured), {"policy": "target", "fingerprint": seen[0]})
    assert response.status_code == 422
    assert "have changed since this plan was shown" in read_text(response)
    assert not ShimPlan.objects.exists()
    other.refresh_from_db()
    assert other.count == 2


def test_plan_is_refused_if_readings_have_changed(login, staff) -> None:
    measured = make_twin_set(staff)
    client = login(Role.MECHANIC)
    page = client.get(plan_url(measured)).content.decode()
    seen = read_values(page, "fingerprint")
    measured.readings.filter(cylinder=1, side="intake").update(clearance_mm=Decimal("0.36"))
    assert client.post(accept_url(measured), {"policy": "target", "fingerprint": seen[0]}).status_code == 422


def test_repeated_and_second_acceptance_change_nothing(login, staff) -> None:
    measured = make_twin_set(staff)
    shims = put_in_stock("2.40", 5)
    client, key = login(Role.MECHANIC), str(uuid.uuid4())
    accept(client, measured, form_key=key)
    again = client.post(accept_url(measured), {"policy": "target", "fingerprint": "x", "form_key": key})
    other = client.post(accept_url(measured), {"policy": "fewest_new", "fingerprint": "x"}, follow=True)
    assert again.url == plan_url(measured)
    assert "there is no plan for these readings" in read_text(other)
    shims.refresh_from_db()
    assert shims.count == 4
    assert ShimPlan.objects.count() == 1


def test_impossible_plan_gives_reason_and_cannot_be_accepted(login, staff) -> None:
    # 2.50 + 0.26 - 0.16 = 2.60, and nothing thicker than 2.45 is made
    measured = make_twin_set(staff, shim_thickest_mm=Decimal("2.45"))
    measured.readings.filter(cylinder=2, side="intake").delete()
    client = login(Role.MECHANIC)
    response = client.get(plan_url(measured))
    text = read_text(response)
    assert "Not possible with these shims" in text
    assert "cylinder 1, intake needs a 2.60 mm shim" in text
    assert "Accept plan" not in text
    assert "Cylinder 2, intake: not measured" in text
    assert client.post(accept_url(measured), {"policy": "target", "fingerprint": "x"}).status_code == 422


def test_valve_with_unknown_shim_is_named_and_the_others_are_planned(login, staff) -> None:
    measured = make_twin_set(staff)
    measured.readings.filter(cylinder=1, side="intake").update(shim_marked_mm=None)
    text = read_text(login(Role.MECHANIC).get(plan_url(measured)))
    assert "Cylinder 1, intake: fitted shim not entered" in text
    assert "Shims to change" in text


def test_opening_and_closing_shims_use_their_own_stock(staff) -> None:
    spec: EngineSpec = make_desmo_twin()
    measured = make_clearance_set(job_with(spec), staff[Role.MECHANIC])
    measured.readings.filter(gap="closing").update(
        shim_marked_mm=Decimal("5.10"), clearance_mm=Decimal("0.16")
    )
    measured.readings.filter(side="exhaust", gap="opening").update(clearance_mm=Decimal("0.31"))
    put_in_stock("5.20", 4)  # the openers' diameter
    plan = all_plans(collect_plan_inputs(spec, measured.readings.all()))[0]
    # closing: 5.10 + 0.16 - 0.06 (middle of 0.02 to 0.10) = 5.20
    assert [(gap.value, size, count) for gap, size, count in plan.to_buy] == [("closing", 5.2, 4)]
    put_in_stock("5.20", 4, diameter="8.00")
    plan = all_plans(collect_plan_inputs(spec, measured.readings.all()))[0]
    assert plan.to_buy == []


def test_engine_with_screws_has_no_shim_plan(login, staff) -> None:
    measured = make_clearance_set(job_with(make_single_with_screws()), staff[Role.MECHANIC])
    response = login(Role.MECHANIC).get(plan_url(measured), follow=True)
    assert "so there is no shim plan" in read_text(response)
    client = login(Role.MECHANIC)
    assert client.post(accept_url(measured), {"policy": "target"}).status_code == 302
    assert not ShimPlan.objects.exists()


@pytest.mark.parametrize("role", [Role.DESK, Role.TUNER])
def test_accepting_requires_mechanic_role(login, staff, role: Role) -> None:
    measured = make_twin_set(staff)
    assert login(role).post(accept_url(measured), {"policy": "target"}).status_code == 403


def test_unknown_policy_and_set_are_rejected(login, staff) -> None:
    measured = make_twin_set(staff)
    client = login(Role.MECHANIC)
    assert client.post(accept_url(measured), {"policy": "cheapest"}).status_code == 422
    assert client.get(reverse("shim-plan", args=[999])).status_code == 404
    assert client.get(reverse("shim-plan-slip", args=[measured.pk])).url == plan_url(measured)
    assert client.get(accept_url(measured)).status_code == 405


def test_shim_plan_requires_login(client, staff) -> None:
    response = client.get(plan_url(make_twin_set(staff)))
    assert response.url.startswith(reverse("login"))


def test_plan_page_needs_few_queries(login, staff, django_assert_max_num_queries) -> None:
    measured = make_clearance_set(make_job(), staff[Role.MECHANIC])
    client = login(Role.MECHANIC)
    with django_assert_max_num_queries(10):
        client.get(plan_url(measured))


# Undoing a plan, and the removed shims


def take_back(client: Any, measured: ClearanceSet) -> Any:
    return client.post(reverse("shim-plan-take-back", args=[measured.pk]), follow=True)


def add_removed(client: Any, measured: ClearanceSet) -> Any:
    return client.post(reverse("shim-plan-left-over", args=[measured.pk]), follow=True)


def test_undoing_a_plan_returns_its_shims_to_stock(login, staff) -> None:
    measured = make_twin_set(staff)
    shims = put_in_stock("2.40", 1)
    client = login(Role.MECHANIC)
    accept(client, measured)
    text = read_text(take_back(client, measured))
    assert "Shim plan undone; back in stock: 1 × 2.40 mm." in text
    assert "Accept plan: closest to target" in text
    shims.refresh_from_db()
    assert shims.count == 1
    assert not ShimPlan.objects.exists()
    assert ShimPlan.history.filter(history_type="-").count() == 1
    assert "Someone has undone it" in read_text(take_back(client, measured))
    shims.refresh_from_db()
    assert shims.count == 1


def test_undoing_returns_shims_under_their_original_diameter(login, staff) -> None:
    measured = make_twin_set(staff)
    shims = put_in_stock("2.40", 1)
    client = login(Role.MECHANIC)
    accept(client, measured)
    EngineSpec.objects.update(shim_diameter_mm=Decimal("9.48"))
    take_back(client, measured)
    assert {(row.diameter_mm, row.count) for row in ShimStock.objects.all()} == {(shims.diameter_mm, 1)}


def test_applied_plan_cannot_be_undone(login, staff) -> None:
    measured = make_twin_set(staff)
    shims = put_in_stock("2.40", 1)
    client = login(Role.MECHANIC)
    accept(client, measured)
    make_clearance_set(measured.job, staff[Role.MECHANIC], when="as_left")
    page = client.get(plan_url(measured))
    assert "Undo plan" not in read_text(page)
    assert "measured as left since" in read_text(take_back(client, measured))
    shims.refresh_from_db()
    assert shims.count == 0


def test_paper_says_bought_once_the_shims_are_in(login, staff) -> None:
    measured = make_twin_set(staff)
    accept(login(Role.MECHANIC), measured)

    def printed_origins() -> list[str]:
        (plan,) = load_results(measured.job).get(clearance_facts).plans
        return [row.origin for row in plan.rows]

    crossed = ["cylinder 2, intake", "cylinder 1, intake"]
    assert sorted(printed_origins()) == sorted(["stays", "to buy", *crossed])
    make_clearance_set(measured.job, staff[Role.MECHANIC], when="as_left")
    assert sorted(printed_origins()) == sorted(["stays", "bought", *crossed])
    (plan,) = load_results(measured.job).get(clearance_facts).plans
    assert {row.why for row in plan.rows} == {"exactly on target"}  # where from has its own column


def test_removed_shims_are_added_to_stock_once(login, staff) -> None:
    measured = make_twin_set(staff)
    put_in_stock("2.40", 1)
    client = login(Role.MECHANIC)
    accept(client, measured)
    # 2.50 comes out of cylinder 2 exhaust and goes nowhere
    assert "1 removed shim added to stock" in read_text(add_removed(client, measured))
    again = read_text(add_removed(client, measured))
    assert "are already in stock" in again
    assert "Undo plan" not in again
    available_stock = {(row.diameter_mm, row.thickness_mm): row.count for row in ShimStock.objects.all()}
    assert available_stock == {(Decimal("7.48"), Decimal("2.4")): 0, (Decimal("7.48"), Decimal("2.5")): 1}
    assert "cannot be undone" in read_text(take_back(client, measured))


@pytest.mark.parametrize("name", ["shim-plan-take-back", "shim-plan-left-over"])
def test_undoing_and_adding_to_stock_require_mechanic_role(login, staff, name: str) -> None:
    measured = make_twin_set(staff)
    url = reverse(name, args=[measured.pk])
    assert login(Role.DESK).post(url).status_code == 403
    assert login(Role.MECHANIC).get(url).status_code == 405
    assert login(Role.MECHANIC).post(reverse(name, args=[999])).status_code == 404
    assert "accepted plan no longer exists" in read_text(login(Role.MECHANIC).post(url, follow=True))
