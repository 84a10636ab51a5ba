"""File layouts: columns named, previewed, remembered, edited and removed."""

from typing import Any

import numpy as np
import pytest
from django.urls import reverse

from jobs.models import FileLayout, Run
from jobs.runs.channel_files import load_channels
from jobs.runs.importing import RunDetails, import_run
from jobs.runs.layout_forms import list_units
from tests.factories import make_job
from tests.html import find, read_form, read_text
from tests.jobs.run_files import attach_sweep, demo_bytes, demo_runs
from workshop.models import Role

pytestmark = pytest.mark.django_db

NAMELESS = b"A;B\n" + b"".join(b"%d;%d\n" % (3000 + 10 * i, 20 + i // 10) for i in range(300))


@pytest.fixture
def import_bytes(staff):
    def take(data: bytes, name: str = "a.csv", job: Any = None) -> Run:
        return import_run(
            job=job or make_job(), by=staff[Role.TUNER], name=name, data=data, details=RunDetails()
        ).run

    return take


def layout_url(run: Run) -> str:
    return reverse("run-layout", args=[run.pk])


def form_data(page: Any, **changed: str) -> dict[str, str]:
    """Return the form data, or those of its refreshed part, as a browser would send them."""
    html = page.content.decode()
    form = html if "layout-look" in html else f"<form>{html}</form>"
    return {**read_form(form, "//form[.//select]"), **changed}


NAMED = {
    "column-0-channel": "engine_speed_rpm",
    "column-0-unit": "rpm",
    "column-1-channel": "power_kw",
    "column-1-unit": "kw",
    "name": "our roller",
}


def test_named_columns_are_read_and_remembered(login, import_bytes) -> None:
    run = import_bytes(NAMELESS)
    waiting = import_bytes(NAMELESS + b"\n", "b.csv", run.job)
    client = login(Role.TUNER)
    page = client.get(layout_url(run))
    assert "3000;20" in page.content.decode()  # the lines as they stand
    page_after = client.get(client.post(layout_url(run), form_data(page, **NAMED)).url)
    assert "300 rows imported" in read_text(page_after)
    assert "b.csv" in read_text(page_after)
    for named_run in (run, waiting):
        named_run.refresh_from_db()
        assert named_run.status == Run.Status.READ
    assert FileLayout.objects.get().name == "our roller"


def test_preview_shows_the_values_and_saves_nothing(login, import_bytes) -> None:
    run = import_bytes(NAMELESS)
    client = login(Role.TUNER)
    page = client.get(layout_url(run))
    preview = client.post(layout_url(run), form_data(page, look="1", **{**NAMED, "column-1-unit": "hp"}))
    assert preview.status_code == 200
    # 20 hp are 14.914 kW
    assert "14.914" in read_text(preview)
    part = client.post(layout_url(run), form_data(page, look="1", **NAMED), headers={"HX-Request": "true"})
    assert "<html" not in part.content.decode()
    assert "First rows as imported" in read_text(part)
    run.refresh_from_db()
    assert run.status == Run.Status.TO_NAME
    assert not FileLayout.objects.exists()


def test_other_delimiter_changes_the_columns_at_once(login, import_bytes) -> None:
    run = import_bytes(NAMELESS)
    client = login(Role.TUNER)
    page = client.get(layout_url(run))
    preview = client.post(layout_url(run), form_data(page, look="1", delimiter="none, one column"))
    assert 'name="column-1-channel"' not in preview.content.decode()
    assert "read as one column" in read_text(preview)
    # saved at once, it is refused, because nothing can be read
    refused = client.post(layout_url(run), form_data(page, **NAMED, delimiter="none, one column"))
    assert refused.status_code == 422
    assert not FileLayout.objects.exists()


def test_changed_columns_are_shown_before_the_file_is_read(login, import_bytes) -> None:
    run = import_bytes(NAMELESS)
    client = login(Role.TUNER)
    refused = client.post(
        layout_url(run), form_data(client.get(layout_url(run)), **NAMED, header_line="0", data_line="2")
    )
    assert refused.status_code == 422
    assert "The import settings have changed" in read_text(refused)
    assert client.post(layout_url(run), form_data(refused, **NAMED)).status_code == 302


def test_header_unit_and_data_lines_can_be_chosen(login, import_bytes) -> None:
    rows = "".join(f"{3000 + 10 * i},{20 + i / 10:.1f}\n" for i in range(200))
    run = import_bytes(f"Speed,Wheel\nrun by,hand\n{rows}".encode())
    client = login(Role.TUNER)
    page = client.get(layout_url(run))
    preview = client.post(
        layout_url(run), form_data(page, look="1", header_line="1", unit_line="0", data_line="3")
    )
    assert "1: Speed" in read_text(preview)
    assert "2: Wheel" in read_text(preview)
    saved = client.post(layout_url(run), form_data(preview, **NAMED))
    assert saved.status_code == 302
    # opened again it still shows what was set by hand
    again = client.get(layout_url(run)).context["page"].structure
    assert again["header_line"].value() == 1


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"header_line": "first"}, "Enter a whole number."),
        ({"header_line": "9", "data_line": "3"}, "must be above the first line of data"),
        ({"encoding": "morse"}, "Select a valid choice."),
        ({"column-1-channel": "engine_speed_rpm", "column-1-unit": "rpm"}, "is already used as engine speed"),
        ({"column-1-unit": "rpm"}, "Choose the unit of power in the file."),
        ({"column-1-channel": "warp"}, "Select a valid choice."),
        ({"name": ""}, "This field is required."),
        ({"column-0-channel": "", "column-1-channel": ""}, "at least one column"),
    ],
)
def test_invalid_layout_input_gives_an_error(login, import_bytes, changed, sentence) -> None:
    run = import_bytes(NAMELESS)
    client = login(Role.TUNER)
    answer = client.post(layout_url(run), form_data(client.get(layout_url(run)), **{**NAMED, **changed}))
    assert answer.status_code == 422
    assert sentence in read_text(answer)
    assert not FileLayout.objects.exists()


def test_implausible_values_must_be_confirmed(login, import_bytes) -> None:
    rows = "".join(f"{60_000 + 10 * i};9.{i % 10}\n" for i in range(200))
    run = import_bytes(f"A;B\n{rows}".encode())
    client = login(Role.TUNER)
    odd = {**NAMED, "column-1-channel": "lambda", "column-1-unit": "lambda"}
    questioned = client.post(layout_url(run), form_data(client.get(layout_url(run)), **odd))
    assert questioned.status_code == 422
    assert "read as engine speed: 200 values are not plausible" in read_text(questioned)
    assert "read as lambda: 200 values are not plausible" in read_text(questioned)
    assert "Check the questions below." in read_text(questioned)
    # seen and saved again it is read: a question is no refusal
    assert client.post(layout_url(run), form_data(questioned, **odd)).status_code == 302
    run.refresh_from_db()
    assert run.status == Run.Status.READ


def test_a_weak_guess_is_offered_and_must_be_chosen(login, import_bytes) -> None:
    """An intake temperature of 88 without a unit is 31 °C by a thermometer in Fahrenheit."""
    rows = "".join(f"{3000 + 10 * i},{0.05 * i:.2f},88\n" for i in range(200))
    run = import_bytes(f"Engine speed (rpm),Time (s),Intake air temperature\n{rows}".encode())
    assert run.status == Run.Status.TO_NAME
    client = login(Role.TUNER)
    page = client.get(layout_url(run))
    assert "The unit is not certain. It may be °C. Choose it only if it is." in read_text(page)
    data = form_data(page, name="logger")
    assert data["column-2-channel"] == "intake_air_temperature_c"
    assert data["column-2-unit"] == ""
    refused = client.post(layout_url(run), data)
    assert refused.status_code == 422
    assert "Choose the unit of intake air temperature in the file." in read_text(refused)
    chosen = client.post(layout_url(run), {**form_data(refused, name="logger"), "column-2-unit": "f"})
    assert chosen.status_code == 302
    run.refresh_from_db()
    # (88 - 32) / 1.8
    np.testing.assert_allclose(
        load_channels(run, ["intake_air_temperature_c"])["intake_air_temperature_c"], 31.1111, atol=1e-4
    )


def test_single_column_file_is_questioned(login, import_bytes) -> None:
    run = import_bytes(b"rpm\n" + b"".join(b"%d\n" % (3000 + i) for i in range(200)))
    assert run.status == Run.Status.TO_NAME
    assert "read as one column" in read_text(login(Role.TUNER).get(layout_url(run)))


def test_air_fuel_ratio_is_converted_by_its_fuel(login, import_bytes) -> None:
    rows = "".join(f"{3000 + 10 * i},13.05\n" for i in range(200))
    run = import_bytes(f"rpm,AFR\n{rows}".encode())
    client = login(Role.TUNER)
    page = client.get(layout_url(run))
    assert "Choose the fuel it refers to" in read_text(page)
    assert "Petrol E10" in read_text(page)
    data = form_data(page, name="gauge", stoichiometric_afr="14,5")
    questioned = client.post(
        layout_url(run), data
    )  # the question is gone, and that is no reason to ask again
    assert questioned.status_code == 302
    run.refresh_from_db()
    # 13.05 / 14.5
    np.testing.assert_allclose(load_channels(run, ["lambda"])["lambda"], 0.9)


def test_unit_stated_in_the_file_is_used(login, import_bytes) -> None:
    """The demo's single calls time 'Elapsed (s)': named without a word about its unit."""
    run = import_bytes(demo_bytes(demo_runs("marl")[0]))
    client = login(Role.TUNER)
    page = client.get(layout_url(run))
    named = {"column-0-channel": "time_s", "column-6-channel": "intake_air_temperature_c"}
    preview = client.post(layout_url(run), form_data(page, look="1", **named))
    assert client.post(layout_url(run), form_data(preview, name="bench")).status_code == 302
    run.refresh_from_db()
    channels = load_channels(run, ["time_s", "intake_air_temperature_c"])
    assert channels["time_s"][1] == pytest.approx(0.02)
    assert channels["intake_air_temperature_c"][0] == pytest.approx(14.5)


def test_refused_file_can_be_read_again(login, import_bytes) -> None:
    run = import_bytes(b"notes\n" * 5 + b"nothing here\n")
    assert run.status == Run.Status.REFUSED
    client = login(Role.TUNER)
    page = client.get(layout_url(run))
    assert "no data rows" in read_text(page)
    assert "nothing here" in read_text(page)
    assert client.post(layout_url(run), form_data(page, name="x")).status_code == 422


def test_missing_original_gives_not_found(login, import_bytes) -> None:
    run = import_bytes(NAMELESS)
    run.original.storage.delete(run.original.name)
    client = login(Role.TUNER)
    assert client.get(layout_url(run)).status_code == 404
    assert client.get(reverse("run-file", args=[run.pk])).status_code == 404


def test_conflicting_save_of_the_run_is_reported(login, import_bytes, monkeypatch) -> None:
    run = import_bytes(NAMELESS)
    client = login(Role.TUNER)
    data = form_data(client.get(layout_url(run)), **NAMED)
    from jobs.runs import layout_views as layouts

    taken = layouts.name_columns

    def meanwhile(**given: Any) -> Any:
        Run.objects.get().save()
        return taken(**given)

    monkeypatch.setattr(layouts, "name_columns", meanwhile)
    answer = client.post(layout_url(run), data)
    assert answer.status_code == 422
    assert "Someone else has saved this run" in read_text(answer)
    assert not FileLayout.objects.exists()


def test_naming_twice_stores_one_layout(login, import_bytes) -> None:
    run = import_bytes(NAMELESS)
    client = login(Role.TUNER)
    data = form_data(client.get(layout_url(run)), **NAMED)
    for _ in range(2):
        assert client.post(layout_url(run), data).status_code == 302
    assert FileLayout.objects.count() == 1


def test_an_older_page_never_overwrites_the_remembered_layout(login, import_bytes) -> None:
    """Two files of one kind are opened; naming one reads the other, whose page still shows the old guess."""
    first = import_bytes(NAMELESS)
    second = import_bytes(NAMELESS + b"\n", "b.csv", first.job)
    client = login(Role.TUNER)
    old = form_data(client.get(layout_url(second)), **{**NAMED, "column-1-unit": "hp", "name": "old guess"})
    assert (
        client.post(layout_url(first), form_data(client.get(layout_url(first)), **NAMED)).status_code == 302
    )
    refused = client.post(layout_url(second), old)
    assert refused.status_code == 422
    assert "someone else has changed the layout of these files in the meantime." in read_text(refused)
    assert FileLayout.objects.get().name == "our roller"
    second.refresh_from_db()
    assert load_channels(second, ["power_kw"])["power_kw"][0] == 20
    # the page now shows what is remembered, and a change made on it is saved
    shown = form_data(refused)
    assert (shown["column-1-channel"], shown["column-1-unit"]) == ("power_kw", "kw")
    assert client.post(layout_url(second), {**shown, "column-1-unit": "hp"}).status_code == 302


def test_page_of_a_waiting_file_shows_what_was_remembered_since(login, import_bytes) -> None:
    waiting, other = import_bytes(NAMELESS), import_bytes(NAMELESS + b"\n")  # of two jobs
    client = login(Role.TUNER)
    client.post(layout_url(other), form_data(client.get(layout_url(other)), **NAMED))
    shown = form_data(client.get(layout_url(waiting)))
    assert (shown["column-1-channel"], shown["column-1-unit"]) == ("power_kw", "kw")


WITH_KNOCK = b"Time (s),Engine speed (rpm),Power (kW),Grip (%),Pulse\n" + b"".join(
    b"%.2f,%d,%.1f,100,%.2f\n" % (0.02 * i, 3000 + 20 * i, 20 + i / 20, 3 + i / 200) for i in range(400)
)


def test_naming_one_more_channel_reads_the_other_files_again(login, import_bytes) -> None:
    """Files whose columns are certain are read at once; one column is named afterwards."""
    first = import_bytes(WITH_KNOCK)
    second, third = (import_bytes(WITH_KNOCK + end, f"{end!r}.csv", first.job) for end in (b"\n", b"\n\n"))
    elsewhere = import_bytes(WITH_KNOCK, "other job.csv")
    assert {run.status for run in Run.objects.all()} == {Run.Status.READ}
    second.sweep_start, second.sweep_stop = 10, 300
    second.save()
    client = login(Role.TUNER)
    named = {"column-4-channel": "injector_time_ms", "column-4-unit": "ms", "name": "bench"}
    answer = client.post(layout_url(first), form_data(client.get(layout_url(first)), **named))
    assert answer.status_code == 302
    assert read_text(client.get(answer.url)).count("Read again:") == 2
    for run in (first, second, third):
        run.refresh_from_db()
        assert load_channels(run, ["injector_time_ms"])["injector_time_ms"][0] == 3
    assert (second.sweep_start, second.sweep_stop) == (10, 300)  # the rows are the same
    elsewhere.refresh_from_db()
    assert "injector_time_ms" not in elsewhere.channel_names


# --- remembered layouts


@pytest.fixture
def stored_layout(login, import_bytes):
    run = import_bytes(NAMELESS)
    client = login(Role.TUNER)
    client.post(layout_url(run), form_data(client.get(layout_url(run)), **NAMED))
    return FileLayout.objects.get()


def test_layout_list_shows_columns_and_run_counts_in_few_queries(
    login, stored_layout, django_assert_num_queries
) -> None:
    client = login(Role.DESK)
    with django_assert_num_queries(5):  # session, person, shop, count, layouts
        page = client.get(reverse("layout-list"))
    [row] = find(page, "//tbody/tr")
    assert read_text(row).split()[:3] == ["our", "roller", "1"]
    assert read_text(row).endswith("A, B")
    assert "Forget" not in read_text(page)


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ({}, ["Another", "our roller"]),
        ({"sort": "-name"}, ["our roller", "Another"]),
        ({"sort": "-runs"}, ["our roller", "Another"]),
        ({"use": "unused"}, ["Another"]),
        ({"use": "used"}, ["our roller"]),
        ({"q": "ROLLER"}, ["our roller"]),
    ],
)
def test_layout_list_is_filtered_and_sorted(login, stored_layout, query, found) -> None:
    FileLayout.objects.create(name="Another", fingerprint="f" * 64, layout={})
    page = login(Role.DESK).get(reverse("layout-list"), query)
    assert [stored.name for stored, _ in page.context["layouts"]] == found


def layout_data(stored_layout: FileLayout, **changed: str) -> dict[str, str]:
    return {**NAMED, "version": str(stored_layout.version), **changed}


def test_edited_layout_applies_to_later_files_only(login, stored_layout, import_bytes, staff) -> None:
    client, url = login(Role.TUNER), reverse("layout-edit", args=[stored_layout.pk])
    assert 'value="our roller"' in client.get(url).content.decode()
    saved = client.post(url, layout_data(stored_layout, name="roller in hp", **{"column-1-unit": "hp"}))
    assert saved.status_code == 302
    first = Run.objects.get()
    assert load_channels(first, ["power_kw"])["power_kw"][0] == 20  # read before: stays
    run = import_bytes(NAMELESS + b"\n", "b.csv", first.job)
    assert run.file_layout.name == "roller in hp"
    assert load_channels(run, ["power_kw"])["power_kw"][0] == pytest.approx(20 * 0.745699872)


def test_invalid_unit_of_a_layout_gives_an_error(login, stored_layout) -> None:
    url = reverse("layout-edit", args=[stored_layout.pk])
    answer = login(Role.TUNER).post(url, layout_data(stored_layout, **{"column-1-unit": "rpm"}))
    assert answer.status_code == 422
    assert "Choose the unit of power" in read_text(answer)


def test_layout_conflict_names_the_other_user(login, stored_layout) -> None:
    url = reverse("layout-edit", args=[stored_layout.pk])
    login(Role.OWNER).post(url, layout_data(stored_layout, name="theirs"))
    answer = login(Role.TUNER).post(url, layout_data(stored_layout, name="mine"))
    assert answer.status_code == 422
    assert "Ola Owner" in read_text(answer)
    stored_layout.refresh_from_db()
    assert stored_layout.name == "theirs"


def test_removing_a_layout_keeps_its_runs(login, stored_layout) -> None:
    client = login(Role.TUNER)
    assert client.post(reverse("layout-remove", args=[stored_layout.pk])).status_code == 302
    run = Run.objects.get()
    assert (run.file_layout, run.status) == (None, Run.Status.READ)
    assert client.get(reverse("layout-edit", args=[stored_layout.pk])).status_code == 404


def test_layout_pages_check_roles_and_methods(client, login, stored_layout, staff) -> None:
    edit, remove = (reverse(name, args=[stored_layout.pk]) for name in ("layout-edit", "layout-remove"))
    assert client.get(edit).status_code == 302
    assert login(Role.MECHANIC).get(edit).status_code == 403
    assert login(Role.MECHANIC).post(remove).status_code == 403
    assert login(Role.TUNER).get(remove).status_code == 405
    assert attach_sweep(make_job(), staff[Role.TUNER]).ok


def test_list_units_returns_the_units_of_a_quantity() -> None:
    assert list_units("power") == {"w": "W", "kw": "kW", "hp": "hp", "ps": "PS"}
    assert list_units("mixture").keys() == {"lambda", "afr", "phi"}
    assert {"s", "ms", "clock", "date_time"} <= list_units("time").keys()
