"""The tune log: revisions with their changes, the file each was loaded from, and what lies between two."""

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
    """One row of the page as a browser sends it."""
    sent = {"row": "new" if name.startswith("n") else "saved", "version": "1", **fields}
    return {f"change-{name}-{field}": value for field, value in sent.items()}


def filled(name: str, kind_name: str, now: str, **fields: str) -> dict[str, str]:
    values = {"kind": str(kind(kind_name).pk), "to_value": now, "reason": "the rider asked for it"}
    return row(name, **{**values, **fields})


def saved(each: TuneChange, **fields: str) -> dict[str, str]:
    """A change that was saved before, sent as it stands but for some fields."""
    values = {
        "kind": str(each.kind_id),
        "detail": each.detail,
        "from_value": each.from_value,
        "to_value": each.to_value,
        "unit": each.unit,
        "reason": each.reason,
        "version": str(each.version),
    }
    return row(str(each.pk), **{**values, **fields})


def send_new(client: Client, job, *rows: dict[str, str], **fields):
    sent = {"title": "Softer start", "loaded_at": "2026-05-04T10:30", **fields}
    return client.post(
        reverse("tune-new", args=[job]), sent | {k: v for each in rows for k, v in each.items()}
    )


def send_edit(client: Client, tune: TuneRevision, *rows: dict[str, str], **fields):
    sent = {"title": "Softer start", "loaded_at": "2026-05-04T10:30", "version": str(tune.version), **fields}
    return client.post(
        reverse("tune-edit", args=[tune.pk]), sent | {k: v for each in rows for k, v in each.items()}
    )


def page_of(answer) -> str:
    return answer.content.decode()


def told(tune: TuneRevision) -> list[tuple[str, str]]:
    return [(each.kind.name, each.to_value) for each in tune.changes.all()]


def test_several_changes_are_entered_in_one_sending(login, job, received) -> None:
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
    assert told(tune) == [("idle speed", "1500"), ("fuel", "+6")]
    idle, fuel = tune.changes.all()
    assert (idle.unit, idle.from_value) == ("1/min", "1300")  # the kind's own unit, where none was typed
    assert (fuel.unit, fuel.detail) == ("% more", "above 40 % grip")
    assert (tune.title, tune.made_from, tune.loaded_by.username) == ("Softer start", received, "tuner")


def test_a_job_without_one_is_given_its_calibration_as_received(login, job) -> None:
    send_new(login(Role.TUNER), job, filled("n0", "idle speed", "1500"))
    send_new(login(Role.OWNER), job, filled("n0", "idle speed", "1600"))
    assert list(job.tune_revisions.values_list("number", flat=True)) == [0, 1, 2]


@pytest.mark.parametrize("role", [Role.DESK, Role.MECHANIC])
def test_only_the_tuner_loads_a_tune(login, job, role) -> None:
    assert send_new(login(role), job, filled("n0", "idle speed", "1500")).status_code == 403
    assert reverse("tune-new", args=[job]) not in page_of(login(role).get(reverse("tune-log", args=[job])))


def test_a_change_without_its_reason_is_sent_back_with_everything_typed(login, job) -> None:
    answer = send_new(
        login(Role.TUNER),
        job,
        filled("n0", "idle speed", "1500", reason=""),
        filled("n7", "fuel", "+6", detail="above 40 % grip"),
        note="tried on a cold morning",
    )
    assert answer.status_code == 422
    page = page_of(answer)
    assert '<a href="#id_change-n0-reason">Why</a>: This field is required.' in page
    for typed in ('value="1500"', 'value="+6"', 'value="above 40 % grip"', "tried on a cold morning"):
        assert typed in page
    assert not TuneRevision.objects.exists()


def test_a_tune_that_says_nothing_is_refused(login, job) -> None:
    answer = send_new(login(Role.TUNER), job, row("n0"), row("n1"), title="")
    assert answer.status_code == 422
    assert "enter a change below, or name it in a few words" in page_of(answer)


def test_a_tune_is_not_loaded_in_the_future(login, job) -> None:
    answer = send_new(login(Role.TUNER), job, filled("n0", "fuel", "+6"), loaded_at="2199-05-04T10:30")
    assert answer.status_code == 422
    assert "This lies in the future." in page_of(answer)


def test_sent_twice_it_is_loaded_once(login, job) -> None:
    client, key = login(Role.TUNER), str(uuid.uuid4())
    first, second = (send_new(client, job, filled("n0", "fuel", "+6"), form_key=key) for _ in range(2))
    assert first.url == second.url
    assert job.tune_revisions.filter(number__gt=0).count() == 1


def test_one_change_goes_and_another_comes_in_one_sending(login, tune) -> None:
    idle, fuel = tune.changes.all()
    answer = send_edit(
        login(Role.TUNER),
        tune,
        saved(idle, remove="on"),
        saved(fuel),
        filled("n0", "ignition", "+2"),
    )
    assert answer.status_code == 302
    assert told(tune) == [("fuel", "+4"), ("ignition", "+2")]


def test_the_same_with_a_fault_in_between(login, tune) -> None:
    client = login(Role.TUNER)
    idle, fuel = tune.changes.all()
    rows = saved(idle, remove="on"), saved(fuel)
    answer = send_edit(client, tune, *rows, filled("n0", "ignition", "+2", reason=""))
    assert answer.status_code == 422
    page = page_of(answer)
    assert f'name="change-{idle.pk}-remove" class="checkboxinput form-check-input" ' in page
    assert "checked" in page.split(f'name="change-{idle.pk}-remove"')[1].split(">")[0]
    assert 'value="+2"' in page
    assert told(tune) == [("idle speed", "1400"), ("fuel", "+4")]
    assert send_edit(client, tune, *rows, filled("n0", "ignition", "+2")).status_code == 302
    assert told(tune) == [("fuel", "+4"), ("ignition", "+2")]


def test_a_row_left_alone_is_not_written_again(login, tune) -> None:
    idle, fuel = tune.changes.all()
    send_edit(login(Role.TUNER), tune, saved(idle, to_value="1450"), saved(fuel))
    assert list(tune.changes.values_list("to_value", "version")) == [("1450", 2), ("+4", 1)]


def test_a_change_that_somebody_else_altered_is_not_overwritten_unseen(login, tune) -> None:
    idle, fuel = tune.changes.all()
    rows = saved(idle, reason="stalls at lights"), saved(fuel)
    send_edit(login(Role.OWNER), tune, saved(idle, to_value="1600"), saved(fuel))
    tune.refresh_from_db()
    answer = send_edit(login(Role.TUNER), tune, *rows)
    assert answer.status_code == 422
    page = page_of(answer)
    assert "Ola Owner saved this meanwhile" in page
    assert "“1400” became “1600”" in page
    assert 'value="stalls at lights"' in page
    idle.refresh_from_db()
    assert (idle.to_value, idle.reason) == ("1600", "it hunts")


def test_a_change_that_somebody_else_removed_can_be_entered_anew(login, tune) -> None:
    client = login(Role.TUNER)
    idle, fuel = tune.changes.all()
    gone = saved(idle, reason="stalls at lights")
    idle.delete()
    answer = send_edit(client, tune, gone, saved(fuel))
    assert answer.status_code == 422
    assert "Somebody removed this change while you were typing." in page_of(answer)
    assert 'value="stalls at lights"' in page_of(answer)
    name = next(iter(gone)).split("-")[1]
    assert f'name="change-{name}-row" value="new"' in page_of(answer)
    anew = {**gone, f"change-{name}-row": "new"}
    assert send_edit(client, tune, anew, saved(fuel)).status_code == 302
    assert told(tune) == [("fuel", "+4"), ("idle speed", "1400")]


def test_what_a_kind_means_stands_where_it_is_chosen(login, tune) -> None:
    page = page_of(login(Role.TUNER).get(reverse("tune-edit", args=[tune.pk])))
    effect = "A changed mixture may no longer meet the exhaust emission limits."
    caution = "A raised idle pushes the bike on at a closed throttle."
    fuel = tune.changes.last()
    beside = page.split(f'id="about-change-{fuel.pk}"')[1].split("</div>")[0]
    assert effect in beside
    assert f'data-effect="{effect}"' in page  # for the page's script, at the option
    without_script = page.split('class="kinds-about"')[1].split("</details>")[0]
    assert effect in without_script
    assert caution in without_script


def test_a_kind_no_longer_offered_stays_on_its_change(login, job, tune) -> None:
    TuneChangeKind.objects.filter(name="fuel").update(retired=True)
    client = login(Role.TUNER)
    assert f'<option value="{kind("fuel").pk}"' not in page_of(client.get(reverse("tune-new", args=[job])))
    page = page_of(client.get(reverse("tune-edit", args=[tune.pk])))
    assert f'<option value="{kind("fuel").pk}" data-unit="%"' in page


def test_only_what_was_there_before_can_be_what_a_tune_was_made_from(login, staff, job, tune) -> None:
    later = make_revision(job, staff[Role.TUNER], 2, made_from=tune)
    idle, fuel = tune.changes.all()
    answer = send_edit(login(Role.TUNER), tune, saved(idle), saved(fuel), made_from=str(later.pk))
    assert answer.status_code == 422
    assert "Select a valid choice" in page_of(answer)


def test_the_log_names_the_tune_in_the_bike(login, staff, job, tune) -> None:
    make_revision(job, staff[Role.TUNER], 2, loaded_at=timezone.now() - timedelta(days=1), title="Second go")
    client = login(Role.DESK)
    page = page_of(client.get(reverse("tune-log", args=[job])))
    assert page.count("in the bike now") == 1
    assert "in the bike now" in page.split('id="tune-2"')[1].split("</section>")[0]
    # A run says that the first tune was loaded again after the second.
    (run,) = make_simulated_runs(job, staff[Role.TUNER], "marl", "after", "idle", tune_revision=tune)
    page = page_of(client.get(reverse("tune-log", args=[job])))
    assert "in the bike now" in page.split('id="tune-1"')[1].split("</section>")[0]
    assert "1 run made with it" in page
    assert str(run) in page_of(client.get(reverse("tune", args=[tune.pk])))


def test_the_log_asks_no_more_for_more_tunes(login, staff, job, tune) -> None:
    client, url = login(Role.DESK), reverse("tune-log", args=[job])
    client.get(url)
    with CaptureQueriesContext(connection) as few:
        client.get(url)
    for number in range(2, 12):
        change(make_revision(job, staff[Role.TUNER], number), "fuel", "0", "+1")
    with CaptureQueriesContext(connection) as many:
        client.get(url)
    assert len(many) == len(few)


def test_a_calibration_is_kept_byte_for_byte_and_given_back_as_a_file(login, job) -> None:
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


def test_a_calibration_is_for_the_staff_alone(job, login, tune) -> None:
    assert login(Role.DESK).get(reverse("calibration", args=[tune.pk])).status_code == 404  # it has none
    answer = Client().get(reverse("calibration", args=[tune.pk]))
    assert answer.status_code == 302
    assert answer.url.startswith(reverse("login"))


@pytest.mark.parametrize(
    ("content", "sentence"),
    [(b"", "“a.bin” is empty."), (b"x" * (2**20 + 1), "“a.bin” is larger than 1 MB")],
)
def test_what_is_no_calibration_is_refused(login, job, settings, content, sentence) -> None:
    settings.CALIBRATION_LIMIT = 2**20
    upload = SimpleUploadedFile("a.bin", content)
    answer = send_new(login(Role.TUNER), job, filled("n0", "fuel", "+6"), calibration_file=upload)
    assert answer.status_code == 422
    assert sentence in page_of(answer)
    assert not TuneRevision.objects.exists()


def test_a_file_sent_with_a_fault_elsewhere_has_to_be_chosen_again_and_it_says_so(login, job) -> None:
    upload = SimpleUploadedFile("a.bin", b"x")
    answer = send_new(login(Role.TUNER), job, filled("n0", "fuel", "+6", reason=""), calibration_file=upload)
    assert "The file is not kept yet: choose it again" in page_of(answer)


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


def test_the_difference_sums_up_the_way_between_two_tunes(login, job, branches) -> None:
    page = difference(login(Role.DESK), job, 0, 2)
    net = page.split('id="net-title"')[1].split("</table>")[0]
    idle = net.split("idle speed")[1].split("</tr>")[0]
    assert "1250" in idle
    assert "1550" in idle
    assert "1400" not in net  # a step of the way, not of the outcome
    assert page.split('id="steps-title"')[1].count("<li>") == 3


def test_a_way_across_branches_goes_back_to_where_they_part(login, job, branches) -> None:
    page = difference(login(Role.DESK), job, 2, 3)
    steps = page.split('id="steps-title"')[1].split("</section>")[0]
    assert "Without <a" in steps
    assert "idle speed: 1550 → 1400 1/min" in steps
    assert "ignition: 0 → +2 °" in steps
    assert "fuel" not in steps  # both carry tune 1


def test_the_difference_of_a_tune_from_itself_is_none(login, job, branches) -> None:
    assert "This is the same tune." in difference(login(Role.DESK), job, 2, 2)


def test_tunes_that_a_job_does_not_have_are_not_found(login, job, tune) -> None:
    client = login(Role.DESK)
    assert client.get(reverse("tune-difference", args=[job]), {"from": 0, "to": 9}).status_code == 404
    assert client.get(reverse("tune", args=[tune.pk + 99])).status_code == 404
    assert client.get(reverse("tune-log", args=["1999-001"])).status_code == 404


def test_a_single_change_is_added_edited_and_removed(login, tune) -> None:
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
    assert "Not saved: Toni Tuner changed this" in page_of(stale)
    assert "<td>+1</td><td>+3</td>" in page_of(stale)
    assert client.post(reverse("tune-change-remove", args=[added.pk])).status_code == 302
    assert told(tune) == [("idle speed", "1400"), ("fuel", "+4")]


def section(client: Client, job) -> str:
    page = page_of(client.get(reverse("job", args=[job])))
    return page[page.index('<section id="tunes"') :].split("</section>")[0]


def test_the_job_page_flags_what_may_affect_road_use(login, job, tune) -> None:
    shown = section(login(Role.DESK), job)
    assert "state-attention" in shown
    assert "tune 1 in the bike, 1 change may affect road use" in shown
    assert "Fuel: A changed mixture may no longer meet" in shown


def test_an_effect_goes_with_the_tune_that_brings_it(login, staff, job, received, tune) -> None:
    other = make_revision(job, staff[Role.TUNER], 2, made_from=received)
    change(other, "idle speed", "1250", "1300")
    shown = section(login(Role.DESK), job)
    assert "state-done" in shown
    assert "tune 2 in the bike" in shown
    assert "may affect" not in shown


def test_as_received_alone_is_nothing_done(login, job, received) -> None:
    assert "state-empty" in section(login(Role.DESK), job)


KIND = {"name": "launch help", "unit": "1/min", "order": "50", "caution": "Tyres."}


def test_the_owner_adds_a_kind_which_the_tuner_then_chooses(login, job) -> None:
    answer = login(Role.OWNER).post(reverse("change-kind-list"), KIND)
    assert answer.status_code == 302
    assert "launch help" in page_of(login(Role.TUNER).get(reverse("tune-new", args=[job])))


def test_a_kind_that_affects_road_use_says_how(login) -> None:
    answer = login(Role.OWNER).post(reverse("change-kind-list"), {**KIND, "affects_road_use": "on"})
    assert answer.status_code == 422
    assert "Say in words what the effect may be" in page_of(answer)
    assert 'value="launch help"' in page_of(answer)
    assert not TuneChangeKind.objects.filter(name="launch help").exists()


def test_a_kind_in_use_stays(login, tune) -> None:
    client = login(Role.OWNER)
    page = page_of(client.get(reverse("change-kind-edit", args=[kind("fuel").pk])))
    assert "Remove this kind" not in page
    answer = client.post(reverse("change-kind-remove", args=[kind("fuel").pk]), follow=True)
    assert "is in use on a job" in page_of(answer)
    assert kind("fuel")


def test_a_kind_never_used_can_be_removed(login) -> None:
    client = login(Role.OWNER)
    unused = kind("quick-shift")
    assert "Remove this kind" in page_of(client.get(reverse("change-kind-edit", args=[unused.pk])))
    client.post(reverse("change-kind-remove", args=[unused.pk]))
    assert not TuneChangeKind.objects.filter(name="quick-shift").exists()


@pytest.mark.parametrize("name", ["change-kind-edit", "change-kind-remove"])
def test_kinds_are_the_owners(login, name) -> None:
    client = login(Role.TUNER)
    assert client.post(reverse(name, args=[kind("fuel").pk]), KIND).status_code == 403
    assert client.get(reverse("change-kind-list")).status_code == 403


def test_two_owners_do_not_overwrite_each_other(login) -> None:
    client, fuel = login(Role.OWNER), kind("fuel")
    url = reverse("change-kind-edit", args=[fuel.pk])
    fields = {"name": "fuel", "unit": "%", "order": "70", "version": "1"}
    client.post(url, {**fields, "caution": "Read the plugs."})
    answer = client.post(url, {**fields, "unit": "ms"})
    assert answer.status_code == 422
    assert "Not saved: Ola Owner changed this" in page_of(answer)
    assert "<td>Read the plugs.</td>" in page_of(answer)
