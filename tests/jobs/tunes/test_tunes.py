"""The tune log: revisions with their changes and calibration files, and their differences."""

import hashlib
import uuid
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from jobs.models import TuneChange, TuneChangeKind, TuneRevision
from tests.factories import make_job, make_revision, make_simulated_runs
from tests.html import by_id, read_html, read_row, read_text
from workshop.models import Role

pytestmark = pytest.mark.django_db


@pytest.fixture
def job():
    return make_job()


@pytest.fixture
def received(job, staff) -> TuneRevision:
    return make_revision(job, staff[Role.DESK], loaded_at=timezone.now() - timedelta(days=3))


@pytest.fixture
def tune(job, staff, received) -> TuneRevision:
    """Tune 1 with two changes."""
    tune = make_revision(
        job, staff[Role.TUNER], 1, made_from=received, loaded_at=timezone.now() - timedelta(days=2)
    )
    change(tune, "idle speed", "1250", "1400", unit="1/min")
    change(tune, "fuel", "0", "+4", unit="%")
    return tune


def kind(name: str) -> TuneChangeKind:
    return TuneChangeKind.objects.get(name=name)


def change(tune: TuneRevision, name: str, was: str, now: str, **more: str) -> TuneChange:
    values = {"reason": "it hunts", **more}
    return TuneChange.objects.create(revision=tune, kind=kind(name), from_value=was, to_value=now, **values)


def row(name: str, **fields: str) -> dict[str, str]:
    """Return the form data of one row."""
    sent = {"row": "new" if name.startswith("n") else "saved", "version": "1", **fields}
    return {f"change-{name}-{field}": value for field, value in sent.items()}


def filled(name: str, kind_name: str, now: str, **fields: str) -> dict[str, str]:
    values = {"kind": str(kind(kind_name).pk), "to_value": now, "reason": "the rider asked for it"}
    return row(name, **{**values, **fields})


def saved(change: TuneChange, **fields: str) -> dict[str, str]:
    """Return the form data of a stored change, with some fields replaced."""
    values = {
        "kind": str(change.kind_id),
        "detail": change.detail,
        "from_value": change.from_value,
        "to_value": change.to_value,
        "unit": change.unit,
        "reason": change.reason,
        "version": str(change.version),
    }
    return row(str(change.pk), **{**values, **fields})


def send_new(client: Client, job, *rows: dict[str, str], **fields):
    sent = {"title": "Softer start", "loaded_at": "2026-05-04T10:30", "times_right": "on", **fields}
    return client.post(reverse("tune-new", args=[job]), sent | {k: v for row in rows for k, v in row.items()})


def send_edit(client: Client, tune: TuneRevision, *rows: dict[str, str], **fields):
    sent = {
        "title": "Softer start",
        "loaded_at": "2026-05-04T10:30",
        "times_right": "on",
        "version": str(tune.version),
        **fields,
    }
    return client.post(
        reverse("tune-edit", args=[tune.pk]), sent | {k: v for row in rows for k, v in row.items()}
    )


def page_of(answer) -> str:
    return answer.content.decode()


def stored_changes(tune: TuneRevision) -> list[tuple[str, str]]:
    return [(change.kind.name, change.to_value) for change in tune.changes.all()]


def test_new_tune_saves_several_changes_at_once(login, job, received) -> None:
    answer = send_new(
        login(Role.TUNER),
        job,
        filled("n0", "idle speed", "1500", from_value="1300"),
        row("n1"),
        filled("n2", "fuel", "+6", unit="% more", detail="  above   40 % grip "),
        made_from=str(received.pk),
    )
    tune = job.tune_revisions.get(number=1)
    assert answer.url == reverse("tune", args=[tune.pk])
    assert stored_changes(tune) == [("idle speed", "1500"), ("fuel", "+6")]
    idle, fuel = tune.changes.all()
    assert (idle.unit, idle.from_value) == ("rpm", "1300")  # the kind's own unit, where none was typed
    assert (fuel.unit, fuel.detail) == ("% more", "above 40 % grip")
    assert (tune.title, tune.made_from, tune.loaded_by.username) == ("Softer start", received, "tuner")


def test_first_tune_also_creates_the_tune_as_received(login, job) -> None:
    send_new(login(Role.TUNER), job, filled("n0", "idle speed", "1500"))
    send_new(login(Role.OWNER), job, filled("n0", "idle speed", "1600"))
    assert list(job.tune_revisions.values_list("number", flat=True)) == [0, 1, 2]


@pytest.mark.parametrize("role", [Role.DESK, Role.MECHANIC])
def test_new_tune_requires_tuner_role(login, job, role) -> None:
    assert send_new(login(role), job, filled("n0", "idle speed", "1500")).status_code == 403
    assert reverse("tune-new", args=[job]) not in page_of(login(role).get(reverse("tune-log", args=[job])))


def test_change_without_reason_is_rejected_and_all_input_kept(login, job) -> None:
    answer = send_new(
        login(Role.TUNER),
        job,
        filled("n0", "idle speed", "1500", reason=""),
        filled("n7", "fuel", "+6", detail="above 40 % grip"),
        note="tried on a cold morning",
    )
    assert answer.status_code == 422
    page = page_of(answer)
    assert '<a href="#id_change-n0-reason">Why, change 1</a>' in page
    assert read_text(by_id(page, "id_change-n0-reason_error")) == "This field is required."
    for typed in ('value="1500"', 'value="+6"', 'value="above 40 % grip"', "tried on a cold morning"):
        assert typed in page
    assert not TuneRevision.objects.exists()


def test_tune_without_changes_title_or_note_is_rejected(login, job) -> None:
    answer = send_new(login(Role.TUNER), job, row("n0"), row("n1"), title="")
    assert answer.status_code == 422
    assert "Enter at least one change, or a short name" in page_of(answer)


def test_loading_time_in_the_future_is_rejected(login, job) -> None:
    answer = send_new(login(Role.TUNER), job, filled("n0", "fuel", "+6"), loaded_at="2199-05-04T10:30")
    assert answer.status_code == 422
    assert "This is in the future." in page_of(answer)


def test_repeated_submission_saves_one_tune(login, job) -> None:
    client, key = login(Role.TUNER), str(uuid.uuid4())
    first, second = (send_new(client, job, filled("n0", "fuel", "+6"), form_key=key) for _ in range(2))
    assert first.url == second.url
    assert job.tune_revisions.filter(number__gt=0).count() == 1


def test_edit_removes_one_change_and_adds_another_at_once(login, tune) -> None:
    idle, fuel = tune.changes.all()
    answer = send_edit(
        login(Role.TUNER),
        tune,
        saved(idle, remove="on"),
        saved(fuel),
        filled("n0", "ignition", "+2"),
    )
    assert answer.status_code == 302
    assert stored_changes(tune) == [("fuel", "+4"), ("ignition", "+2")]


def test_removed_and_added_changes_survive_a_rejected_submission(login, tune) -> None:
    client = login(Role.TUNER)
    idle, fuel = tune.changes.all()
    rows = saved(idle, remove="on"), saved(fuel)
    answer = send_edit(client, tune, *rows, filled("n0", "ignition", "+2", reason=""))
    assert answer.status_code == 422
    page = page_of(answer)
    assert f'name="change-{idle.pk}-remove" class="checkboxinput form-check-input" ' in page
    assert "checked" in page.split(f'name="change-{idle.pk}-remove"')[1].split(">")[0]
    assert 'value="+2"' in page
    assert stored_changes(tune) == [("idle speed", "1400"), ("fuel", "+4")]
    assert send_edit(client, tune, *rows, filled("n0", "ignition", "+2")).status_code == 302
    assert stored_changes(tune) == [("fuel", "+4"), ("ignition", "+2")]


def test_unchanged_row_is_not_saved_again(login, tune) -> None:
    idle, fuel = tune.changes.all()
    send_edit(login(Role.TUNER), tune, saved(idle, to_value="1450"), saved(fuel))
    assert list(tune.changes.values_list("to_value", "version")) == [("1450", 2), ("+4", 1)]


def test_change_edited_by_another_user_gives_a_conflict(login, tune) -> None:
    idle, fuel = tune.changes.all()
    rows = saved(idle, reason="stalls at lights"), saved(fuel)
    send_edit(login(Role.OWNER), tune, saved(idle, to_value="1600"), saved(fuel))
    tune.refresh_from_db()
    answer = send_edit(login(Role.TUNER), tune, *rows)
    assert answer.status_code == 422
    page = page_of(answer)
    assert "Ola Owner has saved this record" in page
    assert "“1400” became “1600”" in page
    assert 'value="stalls at lights"' in page
    idle.refresh_from_db()
    assert (idle.to_value, idle.reason) == ("1600", "it hunts")


def test_change_removed_by_another_user_can_be_entered_again(login, tune) -> None:
    client = login(Role.TUNER)
    idle, fuel = tune.changes.all()
    gone = saved(idle, reason="stalls at lights")
    idle.delete()
    answer = send_edit(client, tune, gone, saved(fuel))
    assert answer.status_code == 422
    assert "Someone else has removed this change." in page_of(answer)
    assert 'value="stalls at lights"' in page_of(answer)
    name = next(iter(gone)).split("-")[1]
    assert f'name="change-{name}-row" value="new"' in page_of(answer)
    again = {**gone, f"change-{name}-row": "new"}
    assert send_edit(client, tune, again, saved(fuel)).status_code == 302
    assert stored_changes(tune) == [("fuel", "+4"), ("idle speed", "1400")]


def test_row_shows_effect_and_caution_of_the_change_type(login, tune) -> None:
    page = page_of(login(Role.TUNER).get(reverse("tune-edit", args=[tune.pk])))
    effect = "A changed mixture may no longer meet the exhaust emission limits."
    caution = "A raised idle keeps the bike pulling with the throttle closed."
    fuel = tune.changes.last()
    beside = read_text(by_id(page, f"about-change-{fuel.pk}"))
    assert effect in beside
    assert f'data-effect="{effect}"' in page  # for the page's script, at the option
    without_script = page.split('class="kinds-about"')[1].split("</details>")[0]
    assert effect in without_script
    assert caution in without_script


def test_archived_change_type_stays_on_its_change(login, job, tune) -> None:
    TuneChangeKind.objects.filter(name="fuel").update(retired=True)
    client = login(Role.TUNER)
    assert f'<option value="{kind("fuel").pk}"' not in page_of(client.get(reverse("tune-new", args=[job])))
    page = page_of(client.get(reverse("tune-edit", args=[tune.pk])))
    assert f'<option value="{kind("fuel").pk}" data-unit="%"' in page


def test_tune_can_only_be_based_on_an_earlier_tune(login, staff, job, tune) -> None:
    later = make_revision(job, staff[Role.TUNER], 2, made_from=tune)
    idle, fuel = tune.changes.all()
    answer = send_edit(login(Role.TUNER), tune, saved(idle), saved(fuel), made_from=str(later.pk))
    assert answer.status_code == 422
    assert "Select a valid choice" in page_of(answer)


def test_tune_log_marks_the_tune_in_the_bike(login, staff, job, tune) -> None:
    make_revision(job, staff[Role.TUNER], 2, loaded_at=timezone.now() - timedelta(days=1), title="Second go")
    client = login(Role.DESK)
    page = page_of(client.get(reverse("tune-log", args=[job])))
    assert page.count(">in the bike</span>") == 1
    assert "in the bike" in read_text(by_id(page, "tune-2"))
    # A run says that the first tune was loaded again after the second.
    (run,) = make_simulated_runs(job, staff[Role.TUNER], "marl", "after", "idle", tune_revision=tune)
    page = page_of(client.get(reverse("tune-log", args=[job])))
    assert "in the bike" in read_text(by_id(page, "tune-1"))
    assert "1 run with this tune" in page
    assert str(run) in page_of(client.get(reverse("tune", args=[tune.pk])))


def test_tune_log_needs_no_more_queries_for_more_tunes(login, staff, job, tune) -> None:
    client, url = login(Role.DESK), reverse("tune-log", args=[job])
    client.get(url)
    with CaptureQueriesContext(connection) as few:
        client.get(url)
    for number in range(2, 12):
        change(make_revision(job, staff[Role.TUNER], number), "fuel", "0", "+1")
    with CaptureQueriesContext(connection) as many:
        client.get(url)
    assert len(many) == len(few)


def test_calibration_file_is_stored_and_downloaded_unchanged(login, job) -> None:
    content = bytes(range(256)) * 40
    upload = SimpleUploadedFile("stage <1>.map", content)
    send_new(login(Role.TUNER), job, filled("n0", "fuel", "+6"), calibration_file=upload)
    tune = job.tune_revisions.get(number=1)
    assert tune.calibration_sha256 == hashlib.sha256(content).hexdigest()
    answer = login(Role.DESK).get(reverse("calibration", args=[tune.pk]))
    assert b"".join(answer.streaming_content) == content
    assert answer.headers["Content-Type"] == "application/octet-stream"
    assert answer.headers["Content-Disposition"].startswith("attachment")
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert "stage &lt;1&gt;.map" in page_of(login(Role.DESK).get(reverse("tune", args=[tune.pk])))


def test_calibration_file_requires_login(job, login, tune) -> None:
    assert login(Role.DESK).get(reverse("calibration", args=[tune.pk])).status_code == 404  # it has none
    answer = Client().get(reverse("calibration", args=[tune.pk]))
    assert answer.status_code == 302
    assert answer.url.startswith(reverse("login"))


@pytest.mark.parametrize(
    ("content", "sentence"),
    [(b"", "“a.bin” is empty."), (b"x" * (2**20 + 1), "“a.bin” is larger than 1 MB")],
)
def test_empty_or_too_large_calibration_file_is_rejected(login, job, settings, content, sentence) -> None:
    settings.CALIBRATION_LIMIT = 2**20
    upload = SimpleUploadedFile("a.bin", content)
    answer = send_new(login(Role.TUNER), job, filled("n0", "fuel", "+6"), calibration_file=upload)
    assert answer.status_code == 422
    assert sentence in page_of(answer)
    assert not TuneRevision.objects.exists()


def test_rejected_submission_asks_to_choose_the_file_again(login, job) -> None:
    upload = SimpleUploadedFile("a.bin", b"x")
    answer = send_new(login(Role.TUNER), job, filled("n0", "fuel", "+6", reason=""), calibration_file=upload)
    assert "The file has not been saved. Choose it again" in page_of(answer)


@pytest.fixture
def branches(job, staff, tune) -> dict[int, TuneRevision]:
    """Two tunes made from the first: 2 sets the idle again, 3 the ignition."""
    second = make_revision(job, staff[Role.TUNER], 2, made_from=tune)
    change(second, "idle speed", "1400", "1550", unit="1/min")
    third = make_revision(job, staff[Role.TUNER], 3, made_from=tune)
    change(third, "ignition", "0", "+2", unit="°")
    return {1: tune, 2: second, 3: third}


def difference(client: Client, job, first: int, second: int) -> str:
    answer = client.get(reverse("tune-difference", args=[job]), {"from": first, "to": second})
    assert answer.status_code == 200
    return page_of(answer)


def test_difference_sums_up_the_changes_between_two_tunes(login, job, branches) -> None:
    page = difference(login(Role.DESK), job, 0, 2)
    net = page.split('id="net-title"')[1].split("</table>")[0]
    idle = " ".join(read_row(page, "idle speed"))
    assert "1250" in idle
    assert "1550" in idle
    assert "1400" not in net  # a step of the way, not of the outcome
    assert page.split('id="steps-title"')[1].split("</section>")[0].count("<li>") == 3


def test_difference_across_branches_goes_through_the_common_ancestor(login, job, branches) -> None:
    page = difference(login(Role.DESK), job, 2, 3)
    steps = page.split('id="steps-title"')[1].split("</section>")[0]
    assert "Without <a" in steps
    assert "idle speed: 1550 → 1400 1/min" in steps
    assert "ignition: 0 → +2 °" in steps
    assert "fuel" not in steps  # both carry tune 1


def test_difference_of_a_tune_and_itself_is_empty(login, job, branches) -> None:
    assert "This is the same tune." in difference(login(Role.DESK), job, 2, 2)


def test_difference_of_unknown_tunes_gives_404(login, job, tune) -> None:
    client = login(Role.DESK)
    assert client.get(reverse("tune-difference", args=[job]), {"from": 0, "to": 9}).status_code == 404
    assert client.get(reverse("tune", args=[tune.pk + 99])).status_code == 404
    assert client.get(reverse("tune-log", args=["1999-001"])).status_code == 404


def test_single_change_is_added_edited_and_removed(login, tune) -> None:
    client = login(Role.TUNER)
    fields = {"kind": str(kind("ignition").pk), "to_value": "+2", "reason": "knock-free with E5"}
    assert client.post(reverse("tune-change-add", args=[tune.pk]), fields).status_code == 302
    added = tune.changes.last()
    assert (str(added), added.unit) == ("ignition: +2 °", "°")
    bad = client.post(reverse("tune-change-edit", args=[added.pk]), {**fields, "reason": " "})
    assert bad.status_code == 422
    edited = {**fields, "to_value": "+1", "version": "1"}
    assert client.post(reverse("tune-change-edit", args=[added.pk]), edited).status_code == 302
    stale = client.post(reverse("tune-change-edit", args=[added.pk]), {**edited, "to_value": "+3"})
    assert stale.status_code == 422
    assert "Not saved. Toni Tuner changed this" in page_of(stale)
    assert "<td>+1</td><td>+3</td>" in page_of(stale)
    assert client.post(reverse("tune-change-remove", args=[added.pk])).status_code == 302
    assert stored_changes(tune) == [("idle speed", "1400"), ("fuel", "+4")]


def section(client: Client, job) -> str:
    page = page_of(client.get(reverse("job", args=[job]), {"open": "all"}))
    return read_html(page, "tunes")


def test_job_page_flags_changes_that_may_affect_road_use(login, job, tune) -> None:
    shown = section(login(Role.DESK), job)
    assert "state-attention" in shown
    assert "Tune 1 in the bike, 1 change may affect road use" in shown
    assert "Tune, fuel: A changed mixture may no longer meet" in shown


def test_road_use_effect_ends_when_another_tune_is_loaded(login, staff, job, received, tune) -> None:
    other = make_revision(job, staff[Role.TUNER], 2, made_from=received)
    change(other, "idle speed", "1250", "1300")
    shown = section(login(Role.DESK), job)
    assert "state-done" in shown
    assert "Tune 2 in the bike" in shown
    assert "may affect" not in shown


def test_tune_as_received_alone_leaves_the_section_empty(login, job, received) -> None:
    assert "state-empty" in section(login(Role.DESK), job)


KIND = {"name": "launch help", "unit": "1/min", "order": "50", "caution": "Tyres."}


def test_change_type_added_by_owner_is_offered_to_tuner(login, job) -> None:
    answer = login(Role.OWNER).post(reverse("change-kind-list"), KIND)
    assert answer.status_code == 302
    assert "launch help" in page_of(login(Role.TUNER).get(reverse("tune-new", args=[job])))


def test_change_type_affecting_road_use_requires_its_effect(login) -> None:
    answer = login(Role.OWNER).post(reverse("change-kind-list"), {**KIND, "affects_road_use": "on"})
    assert answer.status_code == 422
    assert "Describe the possible effect." in page_of(answer)
    assert 'value="launch help"' in page_of(answer)
    assert not TuneChangeKind.objects.filter(name="launch help").exists()


def test_change_type_in_use_cannot_be_removed(login, tune) -> None:
    client = login(Role.OWNER)
    page = page_of(client.get(reverse("change-kind-edit", args=[kind("fuel").pk])))
    assert "Delete this type" not in page
    answer = client.post(reverse("change-kind-remove", args=[kind("fuel").pk]), follow=True)
    assert "is in use on a job" in page_of(answer)
    assert kind("fuel")


def test_unused_change_type_can_be_removed(login) -> None:
    client = login(Role.OWNER)
    unused = kind("quick-shift")
    assert "Delete this type" in page_of(client.get(reverse("change-kind-edit", args=[unused.pk])))
    client.post(reverse("change-kind-remove", args=[unused.pk]))
    assert not TuneChangeKind.objects.filter(name="quick-shift").exists()


@pytest.mark.parametrize("name", ["change-kind-edit", "change-kind-remove"])
def test_change_types_require_owner_role(login, name) -> None:
    client = login(Role.TUNER)
    assert client.post(reverse(name, args=[kind("fuel").pk]), KIND).status_code == 403
    assert client.get(reverse("change-kind-list")).status_code == 403


def test_edit_conflict_of_change_type_is_reported(login) -> None:
    client, fuel = login(Role.OWNER), kind("fuel")
    url = reverse("change-kind-edit", args=[fuel.pk])
    fields = {"name": "fuel", "unit": "%", "order": "70", "version": "1"}
    client.post(url, {**fields, "caution": "Read the plugs."})
    answer = client.post(url, {**fields, "unit": "ms"})
    assert answer.status_code == 422
    assert "Not saved. Ola Owner changed this" in page_of(answer)
    assert "<td>Read the plugs.</td>" in page_of(answer)
