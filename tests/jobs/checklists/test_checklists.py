"""Checks of a job, and the shop's checklists."""

import pytest
from django.urls import reverse

from jobs.defaults.change_kinds_and_checks import create_default_lists
from jobs.models import Check, CheckItem, TuneChangeKind
from tests.factories import make_clearance_set, make_job
from tests.html import read_html
from workshop.models import Role

pytestmark = pytest.mark.django_db


@pytest.fixture
def item() -> CheckItem:
    return CheckItem.objects.filter(list="before_handover").first()


def tick(client, job, item, to: str = "on", **headers: str):
    return client.post(reverse("check-tick", args=[job, item.pk]), {"tick": to}, headers=headers)


def test_new_shop_has_checklists_for_dyno_valves_and_handover() -> None:
    by_list = {kind: list(CheckItem.objects.filter(list=kind)) for kind in CheckItem.List.values}
    assert all(by_list.values())
    dyno = " ".join(f"{item.text} {item.caution}" for item in by_list["before_roller"])
    for word in ("straps", "arbon monoxide", "Ear", "Fire extinguisher", "speed symbol", "Nobody behind"):
        assert word.lower() in dyno.lower()
    valves = " ".join(f"{item.text} {item.caution}" for item in by_list["after_valves"])
    for word in ("cold", "running direction", "twice by hand"):
        assert word in valves


def test_new_shop_has_change_types_with_cautions_and_effects() -> None:
    kinds = {kind.name: kind for kind in TuneChangeKind.objects.all()}
    for name in ("idle speed", "rev limiter", "top-speed limiter", "sensor feedback", "throttle table"):
        assert name in kinds
    assert kinds["idle speed"].caution == "A raised idle pushes the bike on at a closed throttle."
    assert "Throttle must return to closed" in kinds["throttle table"].caution
    assert "Lean under load overheats" in kinds["fuel"].caution
    road = [kind for kind in kinds.values() if kind.affects_road_use]
    assert road
    assert all("may" in kind.road_use_effect for kind in road)


def test_defaults_do_not_replace_lists_of_the_owner() -> None:
    CheckItem.objects.exclude(pk=CheckItem.objects.first().pk).delete()
    create_default_lists()
    assert CheckItem.objects.count() == 1
    TuneChangeKind.objects.all().delete()
    create_default_lists()
    assert TuneChangeKind.objects.exists()


def test_tick_records_person_and_time(login, staff, item) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    assert tick(client, job, item).status_code == 302
    assert Check.objects.get().by == staff[Role.MECHANIC]
    assert "Mika Mechanic" in client.get(reverse("checks", args=[job])).content.decode()


def test_second_tick_keeps_the_first(login, staff, item) -> None:
    job = make_job()
    tick(login(Role.MECHANIC), job, item)
    tick(login(Role.TUNER), job, item)
    assert Check.objects.get().by == staff[Role.MECHANIC]


def test_tick_can_be_removed_and_stays_in_the_history(login, item) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    tick(client, job, item)
    tick(client, job, item, "off")
    assert not Check.objects.exists()
    assert [row.history_type for row in Check.history.order_by("history_date")] == ["+", "-"]


def test_script_receives_only_the_lists(login, item) -> None:
    response = tick(login(Role.TUNER), make_job(), item, **{"hx-request": "true"})
    page = response.content.decode()
    assert response.status_code == 200
    assert "<html" not in page
    assert "Toni Tuner" in page


def test_checklists_show_their_cautions(login) -> None:
    page = login(Role.TUNER).get(reverse("checks", args=[make_job()])).content.decode()
    assert page.count('class="caution"') == 3
    assert "Carbon monoxide has no smell and kills." in page


def test_checks_of_valve_work_stand_before_those_of_the_first_start(login) -> None:
    # Common practice, no source: what was left in the engine is found by hand, before it runs.
    job = make_job()
    page = login(Role.TUNER).get(reverse("checks", args=[job])).text
    after_valves = page.index("After valve work, before the first start")
    started = page.index("Engine started and listened to, no leak")
    assert after_valves < page.index("Engine turned over twice by hand") < started
    section = read_html(login(Role.TUNER).get(reverse("job", args=[job])).text, "checks")
    assert section.index("After valve work, before the first start") < section.index("Before running on")


def test_section_shows_open_checks(login, staff) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    for item in CheckItem.objects.filter(list="before_handover"):
        tick(client, job, item)
    assert state(client, job) == "done"
    make_clearance_set(job, staff[Role.MECHANIC])
    assert state(client, job) == "in-hand"
    job.refresh_from_db()
    job.stage = "ready"
    job.save()
    assert state(client, job) == "attention"


def state(client, job) -> str:
    page = client.get(reverse("job", args=[job])).content.decode()
    section = read_html(page, "checks")
    return section[section.index('class="state state-') + len('class="state state-') :].split('"')[0]


def test_desk_can_read_but_not_tick(login, item) -> None:
    job = make_job()
    client = login(Role.DESK)
    assert (
        reverse("check-tick", args=[job, item.pk])
        not in client.get(reverse("checks", args=[job])).content.decode()
    )
    assert tick(client, job, item).status_code == 403


def test_owner_adds_edits_and_archives_an_item(login) -> None:
    client = login(Role.OWNER)
    url = reverse("check-item-list")
    new = {"list": "before_handover", "text": "Radio off", "order": "5"}
    assert client.post(url, new).status_code == 302
    item = CheckItem.objects.get(text="Radio off")
    assert "Radio off" in client.get(url).content.decode()
    edit = reverse("check-item-edit", args=[item.pk])
    client.post(edit, {**new, "retired": "on", "version": item.version})
    assert "Radio off" not in client.get(reverse("checks", args=[make_job()])).content.decode()


def test_archived_item_is_still_shown_if_ticked(login, item) -> None:
    job = make_job()
    client = login(Role.MECHANIC)
    tick(client, job, item)
    item.retired = True
    item.save()
    assert item.text in client.get(reverse("checks", args=[job])).content.decode()


def test_duplicate_item_is_rejected_and_input_preserved(login, item) -> None:
    response = login(Role.OWNER).post(
        reverse("check-item-list"), {"list": item.list, "text": item.text, "order": "5", "caution": "Mind it"}
    )
    assert response.status_code == 422
    assert 'value="Mind it"' in response.content.decode()


@pytest.mark.parametrize("role", [Role.DESK, Role.MECHANIC, Role.TUNER])
def test_editing_lists_requires_owner_role(login, role, item) -> None:
    assert login(role).get(reverse("check-item-list")).status_code == 403
    assert login(role).get(reverse("check-item-edit", args=[item.pk])).status_code == 403


def test_checks_require_login_known_records_and_post(client, login, item) -> None:
    job = make_job()
    assert client.get(reverse("checks", args=[job])).status_code == 302
    assert login(Role.TUNER).get(reverse("checks", args=["2026-999"])).status_code == 404
    assert login(Role.TUNER).post(reverse("check-tick", args=[job, 9999])).status_code == 404
    assert login(Role.TUNER).get(reverse("check-tick", args=[job, item.pk])).status_code == 405


def test_pressed_button_retains_the_focus(login, item) -> None:
    page = tick(login(Role.TUNER), make_job(), item, **{"hx-request": "true"}).content.decode()
    assert page.count("autofocus") == 1
    assert f'id="tick-{item.pk}" type="submit" autofocus' in page


def test_duplicate_check_shows_a_readable_error(login) -> None:
    owner, item = login(Role.OWNER), CheckItem.objects.first()
    sent = {"list": item.list, "text": item.text, "order": "5"}
    response = owner.post(reverse("check-item-list"), sent)
    assert response.status_code == 422
    assert "There is a check item with this list and text already." in response.text


def test_lists_are_in_order_of_work_and_explain_blocked_issuing(login) -> None:
    page = login(Role.OWNER).get(reverse("check-item-list")).text
    titles = [
        "After valve work, before the first start",
        "Before running on the dyno",
        "Before handover",
    ]
    places = [page.index(f"<h2>{title}</h2>") for title in titles]
    assert places == sorted(places)
    assert "A sheet is not issued while a list that the work needs has an open check" in page
