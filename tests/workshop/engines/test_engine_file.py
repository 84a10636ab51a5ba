"""The engine library as a file: exported, previewed and imported."""

from decimal import Decimal
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from tests.factories import make_engine
from tests.html import read_values
from tests.jobs.clearances.test_clearances import make_desmo_twin, make_single_with_screws
from workshop.engines.engine_file import COLUMNS, engines_csv, read_engines
from workshop.models import EngineSpec, Role

pytestmark = pytest.mark.django_db

URL = "engine-import"


def send_file(client: Any, text: str | bytes) -> Any:
    data = text.encode() if isinstance(text, str) else text
    return client.post(reverse(URL), {"file": SimpleUploadedFile("engines.csv", data)})


def confirm(client: Any, shown: Any) -> Any:
    sent = {name: read_values(shown, name)[0] for name in ("carried", "fingerprint", "form_key")}
    return client.post(reverse(URL), sent)


def stored() -> list[dict[str, Any]]:
    return list(EngineSpec.objects.order_by("maker", "name").values(*COLUMNS))


def make_library() -> None:
    make_engine(
        gear_ratios=[2.615384615, 1.857],
        primary_ratio=1.7 / 3,
        firing_order="1-2-3",
        note='First line\r\nsecond, with "quotes" and ; and é\nthird',
    )
    make_desmo_twin(name="=1+1", maker="+SUM(A1)", note="-5 °C", source_page="'=41", intake_low_mm="0.00254")
    no_shims = {f"shim_{name}_mm": None for name in ("step", "thinnest", "thickest")}
    make_single_with_screws(source_manual="@home", source_edition="''-1", **no_shims)


def test_exported_file_is_imported_without_loss(login) -> None:
    make_library()
    before = stored()
    client = login(Role.OWNER)
    text = client.get(reverse("engine-export")).content.decode()
    page = send_file(client, text).content.decode()
    read = read_engines(text)
    assert (read.errors, [line.changes for line in read.lines]) == ([], [[], [], []])
    assert "Nothing to save. All 3 engines" in page

    EngineSpec.objects.all().delete()
    response = confirm(client, send_file(client, text))
    assert response.url == reverse("engine-list")
    assert stored() == before


def test_export_escapes_formulas() -> None:
    make_library()
    text = engines_csv(EngineSpec.objects.all())
    for formula in ("'=1+1", "'+SUM(A1)", "'-5 °C", "''=41", "'@home", "'''-1"):
        assert formula in text


def test_import_shows_changes_before_saving(login) -> None:
    engine = make_engine()
    client = login(Role.OWNER)
    shown = send_file(
        client,
        "maker,name,idle_rpm,cylinders,arrangement,camshafts,intake_valves,exhaust_valves,adjuster,"
        "intake_low_mm,intake_high_mm,exhaust_low_mm,exhaust_high_mm,target_tolerance_mm\n"
        "Pellorin,Tern 660,1300,3,inline,dohc,2,2,shim_under_bucket,0.10,0.22,0.25,0.35,0.01\n"
        "Ostrey,Wren 250,1400,1,single,sohc,2,2,screw and locknut,0.05,0.10,0.10,0.15,0.01\n",
    )
    page = shown.content.decode()
    assert "Intake, upper limit (mm): 0.2 → 0.22" in page
    assert "Idle speed (rpm): – → 1300" in page
    assert "new in the library" in page
    assert EngineSpec.objects.count() == 1
    assert confirm(client, shown).url == reverse("engine-list")
    engine.refresh_from_db()
    assert (engine.intake_high_mm, engine.idle_rpm) == (Decimal("0.22"), 1300)
    assert engine.exhaust_target_mm == Decimal("0.31")  # its column was left out
    assert engine.history.first().history_user.username == "owner"
    assert EngineSpec.objects.get(name="Wren 250").adjuster == "screw"


def test_import_reads_semicolons_decimal_commas_and_cp1252(login) -> None:
    make_engine()
    text = "maker;name;intake_high_mm;source_manual\nPellorin;Tern 660;0,22;Handbuch für Händler\n"
    client = login(Role.OWNER)
    confirm(client, send_file(client, text.encode("cp1252")))
    engine = EngineSpec.objects.get()
    assert (engine.intake_high_mm, engine.source_manual) == (Decimal("0.22"), "Handbuch für Händler")


def test_import_stores_inches_in_mm_exactly(login) -> None:
    make_engine()
    client = login(Role.OWNER)
    text = (
        "maker,name,intake_low_in,intake_high_mm,intake_target_mm\nPellorin,Tern 660,0.0045,0.008 in,6 thou\n"
    )
    confirm(client, send_file(client, text))
    engine = EngineSpec.objects.get()
    # 0.0045 × 25.4, 0.008 × 25.4 and 0.006 × 25.4
    exact = tuple(Decimal(each) for each in ("0.1143", "0.2032", "0.1524"))
    assert (engine.intake_low_mm, engine.intake_high_mm, engine.intake_target_mm) == exact


def test_import_reports_errors_by_line_and_column_and_saves_nothing(login) -> None:
    make_engine()
    before = stored()
    text = (
        "maker,name,intake_low_mm,intake_high_mm,note\n"
        'Pellorin,Tern 660,0.12,0.22,"two\nlines"\n'
        "Pellorin,Tern 660,0.10,0.20,\n"
        "Ostrey,Wren 250,-0.05,tight,\n"
        "short,line\n"
    )
    client = login(Role.OWNER)
    response = send_file(client, text)
    assert response.status_code == 422
    errors = {(error.line, error.column): error.message for error in response.context["read"].errors}
    assert "already on line 2" in errors[4, "name"]
    assert "greater than or equal to 0" in errors[5, "intake_low_mm"]
    assert "“tight” is not a number" in errors[5, "intake_high_mm"]
    assert (5, "adjuster") in errors
    assert "2 cells but the header has 5" in errors[6, ""]
    assert "What will be saved" not in response.content.decode()
    assert stored() == before


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "Choose a CSV file"),
        ("name,idle_rpm\nTern,1200\n", "including “maker”"),
        ("maker,name,colour\nPellorin,Tern 660,red\n", "column 3: unknown column “colour”"),
        ("maker,name,intake_low_mm,intake_low_in\nP,T,1,1\n", "appears twice"),
        (b"\x00\x01\x02PK", "The file is not text"),
        (b"x" * 1_000_001, "larger than 1 MB"),
    ],
)
def test_import_refuses_other_files_with_a_reason(login, text: str | bytes, message: str) -> None:
    response = send_file(login(Role.OWNER), text)
    assert response.status_code == 422
    assert message in response.content.decode()


def test_import_shows_changes_again_when_library_changed(login) -> None:
    engine = EngineSpec.objects.get(pk=make_engine().pk)
    client = login(Role.OWNER)
    shown = send_file(client, "maker,name,idle_rpm\nPellorin,Tern 660,1300\n")
    engine.idle_rpm = 1450
    engine.save()
    response = confirm(client, shown)
    assert response.status_code == 422
    assert "Idle speed (rpm): 1450 → 1300" in response.content.decode()
    engine.refresh_from_db()
    assert engine.idle_rpm == 1450
    assert confirm(client, response).status_code == 302
    engine.refresh_from_db()
    assert engine.idle_rpm == 1300


def test_import_confirmed_twice_is_saved_once(login) -> None:
    make_engine()
    client = login(Role.OWNER)
    shown = send_file(client, "maker,name,idle_rpm\nPellorin,Tern 660,1300\n")
    assert [confirm(client, shown).url for _ in range(2)] == [reverse("engine-list")] * 2
    assert EngineSpec.objects.get().version == 2


def test_import_reads_every_exported_column(login) -> None:
    make_engine()
    assert not read_engines(engines_csv(EngineSpec.objects.all())).errors


@pytest.mark.parametrize("role", [Role.DESK, Role.MECHANIC, Role.TUNER])
def test_export_and_import_require_owner(login, role: Role) -> None:
    client = login(role)
    assert client.get(reverse("engine-export")).status_code == 403
    assert client.get(reverse(URL)).status_code == 403
    assert send_file(client, "maker,name\nA,B\n").status_code == 403
    assert reverse(URL) not in client.get(reverse("engine-list")).content.decode()


def test_export_redirects_anonymous_user_to_login(client) -> None:
    assert client.get(reverse("engine-export")).url.startswith(reverse("login"))
