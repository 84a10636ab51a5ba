"""Pages of the engine library."""

import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.urls import reverse

from tests.factories import make_bike, make_engine
from tests.html import read_text
from workshop.models import EngineSpec, Role, ShopProfile

pytestmark = pytest.mark.django_db

SHIMS = {"shim_diameter_mm": "7,48", "shim_step_mm": "0,05"}
CLOSING = {
    "intake_closing_low_mm": "0,03",
    "intake_closing_high_mm": "0,06",
    "exhaust_closing_low_mm": "0,04",
    "exhaust_closing_high_mm": "0,08",
    "closing_shim_diameter_mm": "7",
    "closing_shim_step_mm": "0,05",
}


def payload(**kwargs: object) -> dict[str, object]:
    """Return a single with screw adjusters: the minimum that can be entered."""
    return {
        "maker": "Ostrey",
        "name": "Wren 250",
        "cylinders": "1",
        "arrangement": "single",
        "camshafts": "sohc",
        "intake_valves": "2",
        "exhaust_valves": "2",
        "adjuster": "screw",
        "intake_low_mm": "0,05",
        "intake_high_mm": "0.10",
        "exhaust_low_mm": "0,10",
        "exhaust_high_mm": "0.15",
        "target_tolerance_mm": "0,01",
        **kwargs,
    }


def send(login, **kwargs: object) -> Any:
    return login(Role.OWNER).post(reverse("engine-new"), payload(**kwargs))


def test_engine_with_screws_needs_no_shims(login) -> None:
    response = send(login, gear_ratios="2,8 1,9 1,4", source_manual="Ostrey handbook", source_page="12")
    engine = EngineSpec.objects.get()
    assert response.headers["Location"] == reverse("engine", args=[engine.pk])
    assert (engine.intake_low_mm, engine.intake_high_mm) == (Decimal("0.05"), Decimal("0.10"))
    assert engine.gear_ratios == [2.8, 1.9, 1.4]
    assert engine.source == "Ostrey handbook, p. 12"


def test_kind_of_engine_and_its_inertia_are_stored_and_shown(login) -> None:
    kinds = {"cycle": "two_stroke", "induction": "constant_boost", "ignition": "spark"}
    page = login(Role.DESK).get(
        send(login, **kinds, engine_inertia_kgm2="0,025", wheel_inertia_kgm2="0.6").url
    )
    engine = EngineSpec.objects.get()
    assert (engine.engine_inertia_kgm2, engine.wheel_inertia_kgm2) == (0.025, 0.6)
    text = read_text(page)
    assert "two-stroke, spark ignition, forced induction that keeps its boost pressure by itself" in text
    assert "0.025 kg·m² at the crankshaft, 0.6 kg·m² of the rear wheel" in text


def test_engine_without_its_kind_is_an_ordinary_one(login) -> None:
    send(login)
    engine = EngineSpec.objects.get()
    assert (engine.cycle, engine.induction, engine.ignition) == ("four_stroke", "natural", "spark")


@pytest.mark.parametrize("adjuster", ["shim_under_bucket", "shim_over_bucket", "finger_follower"])
def test_engine_with_shims_requires_diameter_and_step(login, adjuster: str) -> None:
    response = send(login, adjuster=adjuster)
    assert response.status_code == 422
    assert {"shim_diameter_mm", "shim_step_mm"} == set(response.context["form"].errors)
    assert send(login, adjuster=adjuster, **SHIMS).status_code == 302


def test_desmodromic_engine_requires_closing_limits_and_shims(login) -> None:
    response = send(login, adjuster="desmodromic", **SHIMS)
    assert response.status_code == 422
    assert set(CLOSING) == set(response.context["form"].errors)
    assert send(login, adjuster="desmodromic", **SHIMS, **CLOSING).status_code == 302


@pytest.mark.parametrize(
    ("changed", "field", "message"),
    [
        ({"shim_diameter_mm": "7,48"}, "shim_diameter_mm", "Not used with"),
        ({"intake_closing_low_mm": "0,03"}, "intake_closing_low_mm", "Not used with"),
        (
            {"adjuster": "shim_under_bucket", **SHIMS, "screw_pitch_mm": "0,5"},
            "screw_pitch_mm",
            "Not used with",
        ),
        ({"intake_high_mm": "0,04"}, "intake_high_mm", "The upper limit must be above the lower limit"),
        ({"exhaust_target_mm": "0,2"}, "exhaust_target_mm", "The target must be within"),
        ({"intake_low_mm": "thin"}, "intake_low_mm", "is not a number"),
        ({"gear_ratios": "2,6,1,9"}, "gear_ratios", "Separate them with spaces or semicolons"),
        ({"cylinders": "9"}, "cylinders", "less than or equal to 8"),
        ({"screw_pitch_mm": "0"}, "screw_pitch_mm", "Enter a value above zero"),
        ({"firing_order": "2-1", "cylinders": "3"}, "firing_order", "each of the 3 cylinders once"),
        ({"intake_low_mm": "0.05 kg"}, "intake_low_mm", "Use mm, in or thou"),
        (
            {"adjuster": "finger_follower", **SHIMS, "shim_thinnest_mm": "0"},
            "shim_thinnest_mm",
            "Enter a value above zero",
        ),
        (
            {
                "adjuster": "finger_follower",
                **SHIMS,
                "shim_thinnest_mm": "1,2",
                "shim_thickest_mm": "2,33",
            },
            "shim_thickest_mm",
            "do not reach 2.33 mm",
        ),
        (
            {
                "adjuster": "finger_follower",
                **SHIMS,
                "shim_thinnest_mm": "3,5",
                "shim_thickest_mm": "1,2",
            },
            "shim_thickest_mm",
            "must not be thinner than the thinnest",
        ),
    ],
)
def test_invalid_entry_shows_error_at_field_and_keeps_input(
    login, changed: dict, field: str, message: str
) -> None:
    response = send(login, note="keep me", **changed)
    assert response.status_code == 422
    assert message in " ".join(response.context["form"].errors[field])
    assert "keep me" in response.text
    assert f'value="{changed[field]}"' in response.text
    assert not EngineSpec.objects.exists()


def test_duplicate_engine_is_refused(login) -> None:
    send(login)
    response = send(login)
    assert response.status_code == 422
    assert "Ostrey Wren 250 is already in the library." in response.text


def test_form_submitted_twice_creates_one_engine(login) -> None:
    client, values = login(Role.OWNER), payload(form_key=str(uuid.uuid4()))
    responses = [client.post(reverse("engine-new"), values) for _ in range(2)]
    assert {response.status_code for response in responses} == {302}
    assert EngineSpec.objects.count() == 1


def test_unchanged_edit_form_changes_nothing(login) -> None:
    made = make_engine(gear_ratios=[2.615, 1.857], primary_ratio=1.75)
    engine = EngineSpec.objects.get(pk=made.pk)
    client, url = login(Role.OWNER), reverse("engine-edit", args=[engine.pk])
    form = client.get(url).context["form"]
    sent = {name: form[name].value() for name in form.fields}
    response = client.post(url, {name: value for name, value in sent.items() if value not in (None, False)})
    assert response.status_code == 302
    stored = EngineSpec.objects.get()
    kept = [f.attname for f in EngineSpec._meta.fields if f.name not in ("version", "updated_at")]
    assert [getattr(stored, name) for name in kept] == [getattr(engine, name) for name in kept]


def test_inches_are_stored_in_mm_exactly_and_shims_stay_in_mm(login) -> None:
    ShopProfile.current()
    ShopProfile.objects.update(length_unit="in")
    send(
        login,
        adjuster="finger_follower",
        **SHIMS,
        intake_low_mm="0.0045",
        intake_high_mm="0,006 in",
        exhaust_low_mm="0.1 mm",
        exhaust_high_mm="6 thou",
        target_tolerance_mm="0.01 mm",
    )
    engine = EngineSpec.objects.get()
    # 0.0045 × 25.4 = 0.1143; 0.006 × 25.4 = 0.1524
    assert (engine.intake_low_mm, engine.intake_high_mm) == (Decimal("0.1143"), Decimal("0.1524"))
    assert (engine.exhaust_low_mm, engine.exhaust_high_mm) == (Decimal("0.1"), Decimal("0.1524"))
    assert (engine.shim_diameter_mm, engine.shim_step_mm) == (Decimal("7.48"), Decimal("0.05"))
    client, url = login(Role.OWNER), reverse("engine-edit", args=[engine.pk])
    form = client.get(url).context["form"]
    assert form.fields["intake_low_mm"].label == "Intake, lower limit (in)"
    shown = [form[name].value() for name in ("intake_low_mm", "exhaust_low_mm", "shim_step_mm")]
    # 0.1 mm is no round number of inches, so it is shown in mm.
    assert shown == ["0.0045", "0.1 mm", "0.05"]
    sent = {name: form[name].value() for name in form.fields}
    client.post(url, {name: value for name, value in sent.items() if value not in (None, False)})
    again = EngineSpec.objects.get()
    names = [
        field.attname for field in EngineSpec._meta.fields if field.name not in ("version", "updated_at")
    ]
    assert [getattr(again, name) for name in names] == [getattr(engine, name) for name in names]


def test_edit_conflict_warns_and_keeps_input(login) -> None:
    send(login)
    engine = EngineSpec.objects.get()
    client, url = login(Role.OWNER), reverse("engine-edit", args=[engine.pk])
    client.post(url, payload(idle_rpm="1400", gear_ratios="2,8 1,9", version=1))
    response = client.post(url, payload(rev_limit_rpm="9500", version=1))
    assert response.status_code == 422
    form = response.context["form"]
    assert form["rev_limit_rpm"].value() == "9500"
    # Not touched here, so as the other user saved it.
    assert (form["idle_rpm"].value(), form["gear_ratios"].value()) == ("1400", "2.8 1.9")


def test_page_shows_limits_and_their_source(login) -> None:
    page = login(Role.MECHANIC).get(reverse("engine", args=[make_engine().pk])).text
    assert "0.10\N{NO-BREAK SPACE}mm" in page
    assert "0.31\N{NO-BREAK SPACE}mm" in page
    assert "Pellorin workshop book, 2, p. 41" in page
    assert "No source given" not in page


def test_desmodromic_page_shows_both_clearances(login) -> None:
    engine = make_engine(adjuster="desmodromic", intake_closing_low_mm="0.03", intake_closing_high_mm="0.06")
    page = login(Role.TUNER).get(reverse("engine", args=[engine.pk])).text
    assert "Intake, closing clearance" in page
    assert "0.03\N{NO-BREAK SPACE}mm" in page


def test_engine_without_source_is_marked(login) -> None:
    engine = make_engine(source_manual="", source_edition="", source_page="")
    client = login(Role.TUNER)
    assert "No source given" in client.get(reverse("engine", args=[engine.pk])).text
    assert "no source" in client.get(reverse("engine-list")).text


def test_list_query_count_is_constant(login, shop, django_assert_num_queries) -> None:
    client = login(Role.TUNER)
    for number in range(20):
        make_bike(plate=f"DEMO {number}", engine_spec=make_engine(name=f"Tern {number}"))
    # Session, person, shop, count, engines.
    with django_assert_num_queries(5):
        page = client.get(reverse("engine-list"))
    assert "Pellorin Tern 19" in page.text


def test_list_is_filtered_sorted_and_downloaded_as_listed(login) -> None:
    make_engine(name="Tern 660", cylinders=2)
    make_engine(name="Gannet 300", cylinders=1, adjuster="screw")
    make_engine(name="Gannet 900", cylinders=3)
    client, url = login(Role.OWNER), reverse("engine-list")

    def names(**asked: str) -> list[str]:
        return [engine.name for engine in client.get(url, asked).context["page"]]

    assert names() == ["Gannet 300", "Gannet 900", "Tern 660"]
    assert names(q="pellorin gannet", sort="-cylinders") == ["Gannet 900", "Gannet 300"]
    assert names(adjuster="screw") == ["Gannet 300"]
    assert names(adjuster="hydraulic") == names()
    assert "No engines found" in client.get(url, {"q": "petrel"}).text
    lines = (
        client.get(reverse("engine-export"), {"q": "gannet", "sort": "-cylinders"})
        .content.decode()
        .splitlines()
    )
    assert ["Gannet 900" in lines[1], "Gannet 300" in lines[2], len(lines)] == [True, True, 3]


@pytest.mark.parametrize("name", ["engine", "engine-edit"])
def test_unknown_engine_returns_404(login, name: str) -> None:
    assert login(Role.OWNER).get(reverse(name, args=[999])).status_code == 404


def test_editing_requires_owner(login) -> None:
    engine = make_engine()
    assert login(Role.MECHANIC).get(reverse("engine-edit", args=[engine.pk])).status_code == 403
    assert (
        reverse("engine-edit", args=[engine.pk])
        not in login(Role.MECHANIC).get(reverse("engine", args=[engine.pk])).text
    )
