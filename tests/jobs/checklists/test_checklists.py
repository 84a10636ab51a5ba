"""Checks of a job, and the shop's checklists."""

import uuid
from datetime import datetime, timedelta

import lxml.html
import pytest
from django.db import connection
from django.template.loader import render_to_string
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from jobs.checklists.facts import check_facts
from jobs.checklists.questions import questions
from jobs.checklists.section import section
from jobs.checklists.ticks import job_checklists
from jobs.defaults.change_kinds_and_checks import create_default_lists
from jobs.job.section import State
from jobs.models import BikeChange, Check, CheckItem, ClearanceSet, DynoSession, Part, TuneChangeKind
from jobs.runs.importing import RunDetails, import_run
from reports.handover.issuing import check_blockers
from tests.factories import get_part_kind, load_results, make_channel_run, make_clearance_set, make_job
from tests.html import read_html
from tests.reports.whole_jobs import make_whole_job
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
    for word in ("straps", "arbon monoxide", "Ear", "Fire extinguisher", "speed rating", "Nobody behind"):
        assert word.lower() in dyno.lower()
    valves = " ".join(f"{item.text} {item.caution}" for item in by_list["after_valves"])
    for word in ("cold", "running direction", "twice by hand"):
        assert word in valves


def test_new_shop_has_change_types_with_cautions_and_effects() -> None:
    kinds = {kind.name: kind for kind in TuneChangeKind.objects.all()}
    for name in ("idle speed", "rev limiter", "top-speed limiter", "sensor feedback", "throttle table"):
        assert name in kinds
    assert kinds["idle speed"].caution == "A raised idle keeps the bike pulling with the throttle closed."
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
    section = read_html(login(Role.TUNER).get(reverse("job", args=[job]), {"open": "all"}).text, "checks")
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
    page = client.get(reverse("job", args=[job]), {"open": "all"}).content.decode()
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
    assert "A check item with this list and text already exists." in response.text


def test_lists_are_in_order_of_work_and_explain_blocked_issuing(login) -> None:
    page = login(Role.OWNER).get(reverse("check-item-list")).text
    titles = [
        "After valve work, before the first start",
        "Before running on the dyno",
        "Before handover",
    ]
    places = [page.index(f"<h2>{title}</h2>") for title in titles]
    assert places == sorted(places)
    assert "A handover sheet cannot be issued while a required checklist has open checks" in page


# --- when a check was made, and whether it applies


def answer(client, job, item, session: int | None = None, **fields: str):
    url = reverse("check-answer", args=[job, item.pk]) + (f"?session={session}" if session else "")
    return client.post(url, {"version": "0", "note": "", **fields})


def local(at: datetime) -> str:
    return timezone.localtime(at).strftime("%Y-%m-%dT%H:%M")


def checks_page(client, job) -> str:
    return squeeze(client.get(reverse("checks", args=[job])).text)


def printed_checks(job) -> str:
    """Return what the sheet prints of the checks."""
    facts = load_results(job).get(check_facts)
    return squeeze(render_to_string("jobs/checklists/_sheet.html", {"facts": facts}))


def squeeze(html: str) -> str:
    return " ".join(" ".join(lxml.html.fromstring(f"<div>{html}</div>").itertext()).split())


def test_check_recorded_long_after_it_was_made_says_both_times(login, item) -> None:
    job, client = make_job(), login(Role.MECHANIC)
    made = timezone.now() - timedelta(hours=3)
    assert answer(client, job, item, at=local(made)).status_code == 302
    check = Check.objects.get()
    assert check.at == made.replace(second=0, microsecond=0)
    for text in (checks_page(client, job), printed_checks(job)):
        assert f"{timezone.localtime(made):%H:%M}" in text
        assert f"recorded later, {timezone.localtime(check.recorded_at):%-d %b %Y, %H:%M}" in text


def test_check_recorded_within_a_quarter_of_an_hour_is_not_called_late(login, item) -> None:
    job, client = make_job(), login(Role.MECHANIC)
    answer(client, job, item, at=local(timezone.now() - timedelta(minutes=13)))
    assert "recorded later" not in checks_page(client, job) + printed_checks(job)


def test_one_press_is_recorded_as_it_is_made(login, item) -> None:
    job, client = make_job(), login(Role.MECHANIC)
    tick(client, job, item)
    assert "recorded later" not in checks_page(client, job) + printed_checks(job)


@pytest.mark.parametrize(
    ("ago", "sentence"),
    [
        (timedelta(minutes=-5), "This time is in the future."),
        (timedelta(hours=9), "The bike was checked in on"),
    ],
)
def test_check_in_the_future_or_before_receipt_is_refused(login, item, ago, sentence) -> None:
    job, client = make_job(received_at=timezone.now() - timedelta(hours=8)), login(Role.MECHANIC)
    response = answer(client, job, item, at=local(timezone.now() - ago), note="in haste")
    assert response.status_code == 422
    assert sentence in response.text
    assert 'value="in haste"' in response.text
    assert not Check.objects.exists()


def test_corrected_time_is_recorded_now_and_the_first_stays_in_the_history(login, staff, item) -> None:
    job = make_job()
    tick(login(Role.MECHANIC), job, item)
    check = Check.objects.get()
    pressed = check.at
    answer(login(Role.TUNER), job, item, at=local(pressed - timedelta(hours=2)), version=str(check.version))
    check.refresh_from_db()
    assert check.by == staff[Role.MECHANIC]
    assert check.recorded_later_at is not None
    assert pressed in [row.at for row in check.history.all()]


def test_reason_alone_leaves_the_time_as_it_was(login, item) -> None:
    job, client = make_job(), login(Role.MECHANIC)
    tick(client, job, item)
    check = Check.objects.get()
    answer(client, job, item, at=local(check.at), note="torque wrench 4", version=str(check.version))
    saved = Check.objects.get()
    assert (saved.at, saved.recorded_at, saved.note) == (check.at, check.recorded_at, "torque wrench 4")


def test_answer_given_meanwhile_is_not_overwritten_unnoticed(login, item) -> None:
    job = make_job()
    tick(login(Role.MECHANIC), job, item)
    now = local(timezone.now())
    response = answer(login(Role.TUNER), job, item, at=now, not_applicable="on", note="no chain")
    assert response.status_code == 422
    assert "Not saved. Mika Mechanic changed this" in squeeze(response.text)
    assert not Check.objects.get().not_applicable


def test_check_that_does_not_apply_needs_a_reason(login, item) -> None:
    response = answer(login(Role.MECHANIC), make_job(), item, at=local(timezone.now()), not_applicable="on")
    assert response.status_code == 422
    assert "Enter why this check does not apply." in response.text
    assert not Check.objects.exists()


def test_check_that_does_not_apply_counts_as_answered_and_is_printed_so(login, item) -> None:
    job, client = make_job(), login(Role.MECHANIC)
    for other in CheckItem.objects.filter(list="before_handover").exclude(pk=item.pk):
        tick(client, job, other)
    answer(client, job, item, at=local(timezone.now()), not_applicable="on", note="Race bike, no stand")
    (handover,) = [
        checklist for checklist in load_results(job).get(job_checklists) if checklist.key == "before_handover"
    ]
    assert (handover.open, handover.not_applicable, handover.ticked) == (0, 1, len(handover.items) - 1)
    assert state(client, job) == "done"
    assert "does not apply" in checks_page(client, job)
    assert "Does not apply: Race bike, no stand" in checks_page(client, job)
    assert "Does not apply: Race bike, no stand not applicable, Mika Mechanic" in printed_checks(job)


def test_answer_with_a_reason_is_removed_on_its_page_only(login, item) -> None:
    job, client = make_job(), login(Role.MECHANIC)
    answer(client, job, item, at=local(timezone.now()), not_applicable="on", note="Race bike")
    page = client.get(reverse("checks", args=[job])).text
    assert reverse("check-tick", args=[job, item.pk]) not in page
    check = Check.objects.get()
    assert (
        reverse("check-remove", args=[check.pk])
        in client.get(reverse("check-answer", args=[job, item.pk])).text
    )
    assert client.post(reverse("check-remove", args=[check.pk])).status_code == 302
    assert not Check.objects.exists()
    assert [row.note for row in Check.history.all()] == ["Race bike", "Race bike"]


# --- sessions on the dyno


@pytest.fixture
def strap() -> CheckItem:
    return CheckItem.objects.filter(list="before_roller").first()


def strap_down_again(client, job, **fields: str):
    return client.post(reverse("dyno-session-new", args=[job]), fields, follow=True)


def make_run(job, by, at: datetime, name: str = "a.csv", **values):
    return make_channel_run(job, by, name, {"engine_speed_rpm": [3000, 4000]}, made_at=at, **values)


def test_strapped_down_again_means_ticked_again_and_the_first_ticks_stay(login, staff, strap) -> None:
    job, client = make_job(), login(Role.TUNER)
    tick(client, job, strap)
    assert "Dyno session 2 started. Its checks are open." in strap_down_again(client, job).text
    page = client.get(reverse("checks", args=[job])).text
    assert f'id="tick-{strap.pk}" type="submit" aria-pressed="false"' in page
    text = squeeze(page)
    total = CheckItem.objects.filter(list="before_roller").count()
    assert f"Before running on the dyno, session 2 0 of {total} ticked" in text
    assert f"Before running on the dyno, session 1: 1 of {total} ticked" in text
    tick(login(Role.MECHANIC), job, strap)
    assert [str(check.by) for check in Check.objects.order_by("pk")] == ["Toni Tuner", "Mika Mechanic"]
    printed = printed_checks(job)
    assert "Checks before running on the dyno, session 1" in printed
    assert "Checks before running on the dyno, session 2, strapped down again" in printed
    assert "✓ Toni Tuner" in printed
    assert "✓ Mika Mechanic" in printed


def test_session_without_tick_and_run_is_not_followed_by_another(login, strap) -> None:
    job, client = make_job(), login(Role.TUNER)
    assert "Dyno session 1 has no ticks and no runs yet" in strap_down_again(client, job).text
    tick(client, job, strap)
    strap_down_again(client, job)
    assert "Dyno session 2 has no ticks and no runs yet" in strap_down_again(client, job).text
    assert job.dyno_sessions.count() == 1


def test_session_is_started_once_however_often_it_is_sent(login, strap) -> None:
    job, client = make_job(), login(Role.TUNER)
    tick(client, job, strap)
    key = str(uuid.uuid4())
    for _ in range(2):
        strap_down_again(client, job, form_key=key)
    assert job.dyno_sessions.count() == 1


def test_tick_on_a_page_of_the_session_before_is_not_saved(login, strap) -> None:
    job, client = make_job(), login(Role.TUNER)
    tick(client, job, strap)
    strap_down_again(client, job)
    url = reverse("check-tick", args=[job, strap.pk])
    response = client.post(url, {"tick": "on", "session": "1"}, headers={"hx-request": "true"})
    assert "Not saved. The page showed dyno session 1, but the current session is 2." in response.text
    assert Check.objects.count() == 1


def test_runs_belong_to_the_session_of_their_time(login, staff, strap) -> None:
    job, client = make_job(), login(Role.TUNER)
    now = timezone.now()
    tick(client, job, strap)
    first = make_run(job, staff[Role.TUNER], now - timedelta(hours=2))
    strap_down_again(client, job)
    session = job.dyno_sessions.get()
    details = RunDetails(made_at=now - timedelta(hours=1))
    data = b"rpm;torque\n3000;50\n3100;51\n"
    early = import_run(job=job, by=staff[Role.TUNER], name="b.csv", data=data, details=details).run
    late = import_run(
        job=job, by=staff[Role.TUNER], name="c.csv", data=data + b"3200;52\n", details=RunDetails()
    ).run
    assert [run.session_number for run in (first, early, late)] == [1, 1, 2]

    url = reverse("dyno-session-edit", args=[session.pk])
    sent = {"started_at": local(now - timedelta(minutes=90)), "version": session.version}
    assert client.post(url, sent).status_code == 302
    for run in (first, early, late):
        run.refresh_from_db()
    assert [run.session_number for run in (first, early, late)] == [1, 2, 2]

    client.post(reverse("dyno-session-remove", args=[session.pk]))
    assert not job.dyno_sessions.exists()
    assert set(job.runs.values_list("session", flat=True)) == {None}


def test_session_with_ticks_is_not_removed(login, strap) -> None:
    job, client = make_job(), login(Role.TUNER)
    tick(client, job, strap)
    strap_down_again(client, job)
    tick(client, job, strap)
    url = reverse("dyno-session-remove", args=[job.dyno_sessions.get().pk])
    assert "so it cannot be removed" in client.post(url, follow=True).text
    assert job.dyno_sessions.exists()


@pytest.mark.parametrize(
    ("ago", "sentence"),
    [
        (timedelta(minutes=-5), "This time is in the future."),
        (timedelta(hours=9), "The bike was checked in on"),
        (timedelta(hours=4), "Dyno session 2 started on"),
    ],
)
def test_session_at_an_impossible_time_is_refused(login, staff, ago, sentence) -> None:
    now = timezone.now()
    job = make_job(received_at=now - timedelta(hours=8))
    by = staff[Role.TUNER]
    DynoSession.objects.create(job=job, number=2, by=by, started_at=now - timedelta(hours=3))
    third = DynoSession.objects.create(job=job, number=3, by=by, started_at=now - timedelta(hours=1))
    url = reverse("dyno-session-edit", args=[third.pk])
    response = login(Role.TUNER).post(url, {"started_at": local(now - ago), "version": third.version})
    assert response.status_code == 422
    assert sentence in response.text


def test_check_of_a_former_session_is_answered_later(login, staff, strap) -> None:
    job, client = make_job(), login(Role.TUNER)
    start = timezone.now() - timedelta(hours=5)
    make_run(job, staff[Role.TUNER], start + timedelta(hours=1))
    DynoSession.objects.create(job=job, number=2, by=staff[Role.TUNER])
    page = client.get(f"{reverse('check-answer', args=[job, strap.pk])}?session=1").text
    assert "Before running on the dyno, session 1." in page
    assert answer(client, job, strap, session=1, at=local(start)).status_code == 302
    assert Check.objects.get().session is None
    assert "recorded later" in printed_checks(job)


@pytest.mark.parametrize("session", ["3", "x", "1" * 30])
def test_unknown_session_is_not_found(login, strap, session) -> None:
    url = reverse("check-answer", args=[make_job(), strap.pk])
    assert login(Role.TUNER).get(f"{url}?session={session}").status_code == 404


# --- what is questioned


def test_dyno_check_after_the_first_run_of_its_session_is_questioned(login, staff, strap) -> None:
    job, client = make_job(), login(Role.TUNER)
    made = timezone.now() - timedelta(hours=1)
    make_run(job, staff[Role.TUNER], made)
    tick(client, job, strap)
    sentence = f"Ticked after the first run of dyno session 1 ({timezone.localtime(made):%-d %b %Y, %H:%M})."
    for text in (checks_page(client, job), printed_checks(job)):
        assert f"Questioned: {sentence} No reason is given." in text
    check = Check.objects.get()
    answer(client, job, strap, at=local(check.at), note="Ticked on paper first", version=str(check.version))
    for text in (checks_page(client, job), printed_checks(job)):
        assert f"{sentence} Reason: Ticked on paper first" in text

    strap_down_again(client, job)
    tick(client, job, strap)
    again = Check.objects.latest("pk")
    assert questions(load_results(job), again) == []  # no run of this session is before it


def test_dyno_check_before_the_first_run_is_not_questioned(login, staff, strap) -> None:
    job, client = make_job(), login(Role.TUNER)
    tick(client, job, strap)
    make_run(job, staff[Role.TUNER], timezone.now())
    assert "Questioned" not in checks_page(client, job)


def test_valve_check_is_questioned_if_the_engine_ran_after_the_clearances_as_left(login, staff) -> None:
    item = CheckItem.objects.filter(list="after_valves").last()
    job, client, now = make_job(), login(Role.MECHANIC), timezone.now()
    make_clearance_set(job, staff[Role.MECHANIC], when="as_left", measured_at=now - timedelta(hours=3))
    make_run(job, staff[Role.TUNER], now - timedelta(hours=4), "before.csv")
    tick(client, job, item)
    assert "Questioned" not in checks_page(client, job)  # that run was before the valve work
    made = now - timedelta(hours=1)
    make_run(job, staff[Role.TUNER], made, "after.csv")
    sentence = f"Questioned: Ticked after a run ({timezone.localtime(made):%-d %b %Y, %H:%M})"
    assert sentence in checks_page(client, job)
    assert sentence in printed_checks(job)
    assert state(client, job) == "attention"


def test_valve_check_before_the_valves_were_set_again_is_questioned(login, staff) -> None:
    item = CheckItem.objects.filter(list="after_valves").first()
    job, client, now = make_job(), login(Role.MECHANIC), timezone.now()
    tick(client, job, item)
    Check.objects.update(at=now - timedelta(hours=5))
    make_run(job, staff[Role.TUNER], now - timedelta(hours=4))
    make_clearance_set(job, staff[Role.MECHANIC], when="as_left", measured_at=now - timedelta(hours=1))
    assert "Questioned: Ticked before the engine ran and the clearances were measured again" in checks_page(
        client, job
    )


LIGHTS = "Brakes, lights and horn tested"


@pytest.mark.parametrize(
    ("removal", "text", "source"),
    [
        ("part", "Blanking plate in place of headlamp", "parts"),
        ("change", "Headlamp and mirrors removed for the track", "changes of the bike"),
        ("condition", "no lights fitted", "condition on arrival"),
    ],
)
def test_check_of_what_is_off_the_bike_is_questioned(login, staff, removal, text, source) -> None:
    condition = "Race bodywork, no lights fitted. Tyre worn." if removal == "condition" else ""
    job, client = make_job(condition=condition), login(Role.MECHANIC)
    if removal == "part":
        Part.objects.create(job=job, name="Blanking plate", replaces="headlamp", fitted_at=timezone.now())
    elif removal == "change":
        BikeChange.objects.create(
            job=job, kind=get_part_kind("something else"), description=text, by=staff[Role.MECHANIC]
        )
    item = CheckItem.objects.get(text=LIGHTS)
    sentence = f"On record: “{text}” ({source})."
    assert sentence in checks_page(client, job)  # before it is ticked, too
    tick(client, job, item)
    for page in (checks_page(client, job), printed_checks(job)):
        assert f"Questioned: {sentence}" in page
    check = Check.objects.get()
    now = local(check.at)
    answer(client, job, item, at=now, not_applicable="on", note="None fitted", version=str(check.version))
    assert "Questioned" not in checks_page(client, job) + printed_checks(job)


def test_kind_of_a_change_says_that_a_thing_is_off_the_bike(login, staff) -> None:
    job, by = make_job(), staff[Role.MECHANIC]
    kind = get_part_kind("road equipment removed")
    BikeChange.objects.create(job=job, kind=kind, description="headlamp and mirrors", by=by)
    assert "On record: “headlamp and mirrors” (changes of the bike)." in checks_page(
        login(Role.MECHANIC), job
    )


@pytest.mark.parametrize(
    "condition", ["No scratch. Lights in order.", "Lightweight battery, old one removed", "horn, no key"]
)
def test_what_is_on_the_bike_is_not_questioned(login, condition) -> None:
    job = make_job(condition=condition)
    assert "On record" not in checks_page(login(Role.MECHANIC), job)


def test_owner_says_what_a_check_needs(login, item) -> None:
    sent = {"list": item.list, "text": item.text, "order": "5", "needs": "mirror", "version": item.version}
    assert login(Role.OWNER).post(reverse("check-item-edit", args=[item.pk]), sent).status_code == 302
    job = make_job(condition="Without mirrors")
    assert "On record: “Without mirrors”" in checks_page(login(Role.MECHANIC), job)


def test_checks_page_needs_one_query_a_kind_of_row(login, staff) -> None:
    job = make_whole_job(staff)
    client, url = login(Role.TUNER), reverse("checks", args=[job])
    client.get(url)
    with CaptureQueriesContext(connection) as queries:
        client.get(url)
    # Session, person, shop, job, kinds of records, transaction of the test; then the items, the answers,
    # the sessions, people, runs with their tunes, clearances, parts, changes, suspension.
    assert len(queries) <= 6 + 10, [query["sql"][:90] for query in queries]


# --- on the job page, and ticks older than a later change


def test_tick_on_the_job_page_answers_lists_line_and_head(login) -> None:
    job, client = make_job(), login(Role.MECHANIC)
    item = CheckItem.objects.filter(list="before_handover").first()
    address = reverse("check-tick", args=[job, item.pk])
    headers = {"HX-Request": "true", "HX-Current-URL": f"http://testserver{job.get_absolute_url()}"}
    total = CheckItem.objects.filter(list="before_handover").count()
    answer = client.post(address, {"tick": "on"}, headers=headers).text
    assert 'id="job-head" hx-swap-oob="innerHTML"' in answer
    assert f"Before handover: {total - 1} checks" in answer
    assert '<summary hx-swap-oob="true" id="line-checks">' in answer
    assert f"1 of {total} ticked" in answer
    elsewhere = client.post(address, {"tick": "off"}, headers={"HX-Request": "true"}).text
    assert "hx-swap-oob" not in elsewhere


def test_tick_older_than_a_later_change_is_to_be_ticked_again(login, staff) -> None:
    job, client = make_job(), login(Role.MECHANIC)
    items = CheckItem.objects.filter(list="before_handover")
    for item in items:
        tick(client, job, item)
    assert check_blockers(load_results(job)) == []
    later = timezone.now() + timedelta(minutes=1)
    kind = get_part_kind("tyre")
    BikeChange.objects.create(
        job=job, kind=kind, description="front tyre renewed", at=later, by=staff[Role.MECHANIC]
    )
    [blocker] = check_blockers(load_results(job))
    assert f"{items.count()} ticks older than a later change of the bike." in blocker.text
    page = client.get(reverse("checks", args=[job])).text
    assert page.count("Ticked before a later change: front tyre renewed") == items.count()
    with_reason, again = items[0], items[1]
    Check.objects.filter(item=with_reason).update(note="Keys are not affected")
    sent = {"tick": "again"}
    assert client.post(reverse("check-tick", args=[job, again.pk]), sent).status_code == 302
    Check.objects.filter(item=again).update(at=later + timedelta(minutes=1))
    [blocker] = check_blockers(load_results(job))
    assert f"{items.count() - 2} ticks older" in blocker.text
    # The tick that was replaced stays in the history.
    assert Check.history.filter(item=again, history_type="-").count() == 1


def test_open_checks_after_valve_work_are_noticed_once_the_engine_ran(login, staff) -> None:
    job = make_job()
    measured = make_clearance_set(job, staff[Role.MECHANIC], when=ClearanceSet.When.AS_LEFT)
    line = section(load_results(job))
    assert line.state == State.EMPTY
    run = make_channel_run(job, staff[Role.TUNER], "a.csv", {"engine_speed_rpm": [3000.0]})
    run.made_at = measured.measured_at + timedelta(hours=1)
    run.save()
    for item in CheckItem.objects.filter(list="before_roller"):
        tick(login(Role.TUNER), job, item)
    line = section(load_results(job))
    assert line.state == State.ATTENTION
    assert line.summary.endswith("after valve work open, although the engine has run")
