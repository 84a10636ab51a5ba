"""Runs of a job as a list: states of the bike, held runs by grip, and several changed at once."""

import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.models import BikeChange, Comparison, ComparisonRun, Run
from tests.factories import get_part_kind, make_job
from tests.html import find, read_json, read_text
from tests.jobs.run_files import attach_sweep, sweep_csv
from workshop.models import Role

pytestmark = pytest.mark.django_db

START = timezone.now().replace(microsecond=0) - timedelta(days=2)
AIR = {"temperature_c": 20.0, "pressure_kpa": 100.0, "humidity_pct": 50.0}


@pytest.fixture
def job(staff):
    """Two sweeps, a change of fuel, then two sweeps with 2 % more."""
    job, tuner = make_job(), staff[Role.TUNER]
    for number in range(4):
        level = (1.0 if number < 2 else 1.02) * (1 + number / 10_000)
        data = sweep_csv(lambda speed, level=level: level * speed / 200)
        at = START + timedelta(minutes=40 * (number > 1) + number)
        attach_sweep(job, tuner, data, name=f"{number}.csv", gear=4, made_at=at, **AIR)
    BikeChange.objects.create(
        job=job, kind=get_part_kind("fuel"), description="E10", at=START + timedelta(minutes=20), by=tuner
    )
    return job


def held_csv(grip_pct: float) -> bytes:
    lines = ["Time (s),Engine speed (rpm),Power (kW),Throttle grip (%)"]
    lines += [f"{n / 100:.2f},{3000 + 10 * n},{grip_pct / 4 + n / 100:.2f},{grip_pct}" for n in range(600)]
    return "\n".join(lines).encode()


def show(client, job, **query: Any):
    return client.get(reverse("runs", args=[job]), query)


def test_runs_are_listed_by_state_with_what_it_shares(login, job) -> None:
    page = show(login(Role.DESK), job)
    before, after = find(page, "//section[contains(@class, 'runs-group')]")
    assert [before.get("aria-label"), after.get("aria-label")] == ["Before", "After"]
    assert "gear 4, 20.0 °C, EU 134/2014 × 0.99" in " ".join(before.text_content().split())
    assert "fuel: E10" in after.text_content()
    # The line reaches 55 kW at 11,000 rpm, by ISO 1585 in this air × 0.99195.
    assert f"Mean of 2 peaks: {55 * 0.99195:.1f}" in before.text_content()


def test_list_names_each_line_of_the_chart(login, job) -> None:
    page = show(login(Role.DESK), job)
    lines = [row.get("data-line") for row in find(page, "//li[@data-line]")]
    assert lines == [one["label"] for one in read_json(page, "runs-chart")["panels"][0]["series"]]


def test_held_runs_are_in_the_order_of_their_grip(login, staff) -> None:
    job = make_job()
    for number, grip_pct in enumerate((40, 10, 80, 10)):
        at = START + timedelta(minutes=number)
        data = held_csv(grip_pct) + b"\n" * number
        attach_sweep(job, staff[Role.TUNER], data, name=f"{number}.csv", kind="held", made_at=at, **AIR)
    series = read_json(show(login(Role.DESK), job), "runs-chart")["panels"][0]["series"]
    assert [one["group"] for one in series] == ["10 % grip", "10 % grip", "40 % grip", "80 % grip"]
    assert [one["hue"] for one in series] == [1, 1, 2, 3]


# --- several at once


def change_data(client, job, runs: list[Run], do: str, **more: str) -> dict[str, Any]:
    """Return what the page sends with these runs ticked."""
    form = client.get(reverse("runs-change", args=[job])).context["form"]
    versions = {name: form[name].value() for name in form.fields if name.startswith("version-")}
    return {**versions, "run": [run.pk for run in runs], "do": do, "kind": "sweep", **more}


def change(client, job, runs: list[Run], do: str, **more: str):
    return client.post(reverse("runs-change", args=[job]), change_data(client, job, runs, do, **more))


def test_several_runs_are_excluded_with_a_reason_and_included_again(login, job) -> None:
    client, runs = login(Role.TUNER), list(Run.objects.order_by("made_at")[:2])
    answer = change(client, job, runs, "exclude")
    assert answer.status_code == 422
    assert "Enter a reason." in read_text(answer)
    assert change(client, job, runs, "exclude", reason="wheel slip").status_code == 302
    assert list(Run.objects.order_by("made_at").values_list("set_aside_reason", flat=True)) == [
        *["wheel slip"] * 2,
        *[""] * 2,
    ]
    page = read_text(show(client, job))
    assert page.count("excluded wheel slip") == 2
    assert change(client, job, runs, "include").status_code == 302
    assert not Run.objects.filter(set_aside=True).exists()
    # Attached, excluded, included again: each by whom it was.
    history = runs[0].history.order_by("history_id")
    assert [row.set_aside for row in history][-2:] == [True, False]
    assert {str(row.history_user) for row in history[1:]} == {"Toni Tuner"}


def test_kind_of_several_runs_is_set(login, job) -> None:
    runs = list(Run.objects.order_by("made_at")[:3])
    assert change(login(Role.TUNER), job, runs, "kind", kind="held").status_code == 302
    assert Run.objects.filter(kind="held").count() == 3


def test_grip_entered_for_several_runs_is_used_if_their_files_have_none(login, job, staff) -> None:
    bare = "\n".join(line.rpartition(",")[0] for line in held_csv(30).decode().splitlines()).encode()
    for number, data in enumerate((bare, bare + b"\n", held_csv(70))):
        at = START + timedelta(minutes=60 + number)
        name = f"held {number}.csv"
        attach_sweep(job, staff[Role.TUNER], data, name=name, kind="held", made_at=at, **AIR)
    client, runs = login(Role.TUNER), list(Run.objects.filter(kind="held"))
    answer = change(client, job, runs, "grip", grip="")
    assert answer.status_code == 422
    assert "Enter the grip in %." in read_text(answer)
    assert change(client, job, runs, "grip", grip="25").status_code == 302
    series = read_json(show(client, job, kind="held"), "runs-chart")["panels"][0]["series"]
    assert [one["group"].split(",")[0] for one in series] == ["25 % grip", "25 % grip", "70 % grip"]


def test_removing_several_runs_is_asked_for_and_all_or_none(login, job) -> None:
    client, runs = login(Role.TUNER), list(Run.objects.order_by("made_at"))
    answer = change(client, job, runs[:2], "remove")
    assert answer.status_code == 422
    assert "Tick this box to delete the runs." in read_text(answer)
    comparison = Comparison.objects.create(job=job, title="x")
    ComparisonRun.objects.create(comparison=comparison, run=runs[0], group="before")
    answer = change(client, job, runs[:2], "remove", is_sure="on")
    assert answer.status_code == 422
    assert "0.csv is used in a comparison or a mixture study and cannot be removed." in read_text(answer)
    assert Run.objects.count() == 4
    assert change(client, job, runs[1:3], "remove", is_sure="on").status_code == 302
    assert {run.pk for run in Run.objects.all()} == {runs[0].pk, runs[3].pk}


def test_change_of_another_user_is_named_and_can_be_sent_again(login, job) -> None:
    client, runs = login(Role.TUNER), list(Run.objects.order_by("made_at")[:2])
    data = change_data(client, job, runs, "exclude", reason="wheel slip")
    change(login(Role.OWNER), job, runs[:1], "kind", kind="held")
    url = reverse("runs-change", args=[job])
    answer = client.post(url, data)
    assert answer.status_code == 422
    assert "Ola Owner changed 0.csv in the meantime (kind)." in read_text(answer)
    assert not Run.objects.filter(set_aside=True).exists()
    form = answer.context["form"]
    again = {name: form[name].value() for name in form.fields if name.startswith("version-")}
    assert client.post(url, {**data, **again}).status_code == 302
    assert Run.objects.filter(set_aside=True, set_aside_reason="wheel slip").count() == 2


def test_double_submission_changes_runs_once(login, job) -> None:
    client, runs = login(Role.TUNER), list(Run.objects.order_by("made_at")[:1])
    data = change_data(client, job, runs, "exclude", reason="wheel slip", form_key=str(uuid.uuid4()))
    for _ in range(2):
        assert client.post(reverse("runs-change", args=[job]), data).status_code == 302
    assert runs[0].history.count() == 2


def test_runs_of_another_job_and_other_roles_are_refused(login, job, staff) -> None:
    other = attach_sweep(make_job(), staff[Role.TUNER], sweep_csv(salt=3)).run
    client = login(Role.TUNER)
    assert change(client, job, [other], "exclude", reason="x").status_code == 422
    assert change(client, job, [], "exclude", reason="x").status_code == 422
    assert login(Role.DESK).get(reverse("runs-change", args=[job])).status_code == 403


def test_ticked_runs_of_the_list_are_ticked_on_the_page(login, job) -> None:
    pks = [run.pk for run in Run.objects.order_by("made_at")[:2]]
    page = login(Role.TUNER).get(reverse("runs-change", args=[job]), {"run": pks, "do": "remove"})
    ticked = find(page, "//input[@name='run' and @checked]")
    assert [int(box.get("value")) for box in ticked] == pks
    (action,) = find(page, "//input[@name='do' and @checked]")
    assert action.get("value") == "remove"
