"""Files whose figures were corrected for the air before they came: asked, and never corrected twice."""

from typing import Any

import numpy as np
import pytest
from django.urls import reverse

from jobs.calc.run_file import FileLayoutSpec
from jobs.comparisons.compare import compare_groups
from jobs.models import FileLayout, Run
from jobs.runs.importing import RunDetails, import_run
from jobs.runs.results import RunResult
from tests.factories import make_job
from tests.html import read_form, read_text
from tests.jobs.run_files import get_result
from workshop.models import Role

pytestmark = pytest.mark.django_db

AIR = {"temperature_c": 30.0, "pressure_kpa": 97.0, "humidity_pct": 60.0}
FACTOR = 1.034
HP_KW = 0.745699872  # NIST SP 811
TIME_S = np.linspace(0, 8, 801)
SPEED_RPM = 3000 + 1000 * TIME_S
# The truth: observed power with its peak of 63.1 kW at 9,000 1/min
OBSERVED_KW = 63.1 - 50 * ((SPEED_RPM - 9000) / 6000) ** 2


def corrected_file(header: str, above: str = "", unit_kw: float = 1.0, extra: str = "") -> bytes:
    """Make a sweep whose power was multiplied by FACTOR."""
    power = FACTOR * OBSERVED_KW / unit_kw
    rows = "".join(
        f"{t:.3f},{n:.1f},{p:.4f},100.0{extra}\n" for t, n, p in zip(TIME_S, SPEED_RPM, power, strict=True)
    )
    return f"{above}{header}\n{rows}".encode()


PLAIN = "Time (s),Engine speed (rpm),Power (kW),Grip (%)"


@pytest.fixture
def take(staff):
    def run_of(data: bytes, job: Any = None, name: str = "a.csv", **details: Any) -> Run:
        result = import_run(
            job=job or make_job(), by=staff[Role.TUNER], name=name, data=data, details=RunDetails(**details)
        )
        return result.run

    return run_of


def peaks(result: RunResult) -> tuple[float, float]:
    assert result.curve is not None
    assert result.observed is not None
    return result.observed.peak_power_kw, result.curve.peak_power_kw


@pytest.mark.parametrize(
    "above",
    [
        "Correction factor: 1.034\n\n",
        "Made up bench\nSAE J1349 correction, factor 1.034\n",
        "Korrekturfaktor;1,034\n",
        "Air correction STD 1.034\n",
    ],
)
def test_factor_above_the_header_is_noticed_and_nothing_is_corrected_twice(take, shop, login, above) -> None:
    run = take(corrected_file(PLAIN, above), corrected_by="observed", **AIR)
    assert run.status == Run.Status.READ
    result = get_result(run, shop)
    # the figures of the file, once: 65.25 kW, and no third figure beside them
    assert peaks(result) == pytest.approx((FACTOR * 63.1, FACTOR * 63.1), rel=2e-3)
    assert any("may already be corrected" in flag.sentence for flag in result.flags)
    page = read_text(login(Role.TUNER).get(reverse("runs", args=[run.job])))
    assert above.splitlines()[-1 if "SAE" in above else 0].strip() in page
    page = read_text(login(Role.TUNER).get(reverse("run", args=[run.pk])))
    assert "enter whether they are corrected" in page
    assert "As in the file 65.2 kW" in page or "As in the file 65.3 kW" in page
    assert "Observed" not in page


def test_answer_on_the_run_takes_the_factor_of_the_file(take, shop, login) -> None:
    run = take(corrected_file(PLAIN, "Correction factor: 1.034\n"), **AIR)
    client, url = login(Role.TUNER), reverse("run-edit", args=[run.pk])
    data = read_form(client.get(url).content.decode(), "//form[.//select]")
    assert data["corrected_by"] == ""
    assert client.post(url, {**data, "corrected_by": "other"}).status_code == 302
    run.refresh_from_db()
    assert run.file_factor == FACTOR
    observed, corrected = peaks(get_result(run, shop))
    assert observed == pytest.approx(63.1, rel=2e-3)
    assert corrected != pytest.approx(observed, rel=5e-3)  # once, by the air that was entered


def test_observed_as_an_answer_is_kept_and_the_contradiction_shown(take, shop, login) -> None:
    run = take(corrected_file(PLAIN, "Correction factor: 1.034\n"), **AIR)
    client, url = login(Role.TUNER), reverse("run-edit", args=[run.pk])
    data = read_form(client.get(url).content.decode(), "//form[.//select]")
    assert client.post(url, {**data, "corrected_by": "observed"}).status_code == 302
    run.refresh_from_db()
    result = get_result(run, shop)
    assert result.is_corrected
    assert any("entered as uncorrected, but line 1 says" in flag.sentence for flag in result.flags)


NAMED = {
    "column-0-channel": "time_s",
    "column-0-unit": "s",
    "column-1-channel": "engine_speed_rpm",
    "column-1-unit": "rpm",
    "column-2-channel": "power_kw",
    "column-2-unit": "hp",
    "column-3-channel": "grip_pct",
    "column-3-unit": "pct",
    "name": "corrected bench",
}


def name_columns_on_page(client: Any, run: Run, **answer: str) -> Any:
    url = reverse("run-layout", args=[run.pk])
    page = client.get(url)
    assert "Enter below whether they are, so that no value is corrected twice." in read_text(page)
    sent = {**read_form(page.content.decode(), "//form[.//select]"), **NAMED, **answer}
    first = client.post(url, sent)
    if first.status_code == 302:
        return first
    seen = read_form(first.content.decode(), "//form[.//select]")["seen"]
    return client.post(url, {**sent, "seen": seen})


CORRECTED_HEADER = "Time (s),Engine speed (rpm),Power SAE corrected (hp),Grip (%)"


def test_corrected_column_is_asked_about_where_the_answer_can_be_given(take, shop, login) -> None:
    run = take(corrected_file(CORRECTED_HEADER, unit_kw=HP_KW), **AIR)
    assert run.status == Run.Status.TO_NAME
    client = login(Role.TUNER)
    answer = name_columns_on_page(client, run, corrected_by="sae_j1349", file_factor="1,034")
    assert answer.status_code == 302
    run.refresh_from_db()
    assert (run.corrected_by, run.file_factor) == ("sae_j1349", FACTOR)
    observed, _ = peaks(get_result(run, shop))
    assert observed == pytest.approx(63.1, rel=2e-3)
    page = read_text(client.get(reverse("runs", args=[run.job])))
    assert "Correction in the file: already corrected by SAE J1349, factor 1.034; removed first" in page
    # the next file of the kind is taken back by the standard without a question, by the air of its run
    second = take(corrected_file(CORRECTED_HEADER, unit_kw=HP_KW) + b"\n", run.job, "b.csv", **AIR)
    assert (second.status, second.corrected_by) == (Run.Status.READ, "sae_j1349")
    assert FileLayoutSpec.from_dict(FileLayout.objects.get().layout).corrected_by == "sae_j1349"


def test_unanswered_question_leaves_the_figures_as_they_are(take, shop, login) -> None:
    run = take(corrected_file(CORRECTED_HEADER, unit_kw=HP_KW), **AIR)
    assert name_columns_on_page(login(Role.TUNER), run, corrected_by="").status_code == 302
    run.refresh_from_db()
    result = get_result(run, shop)
    assert not result.is_corrected
    assert peaks(result) == pytest.approx((FACTOR * 63.1, FACTOR * 63.1), rel=2e-3)


@pytest.mark.parametrize(
    ("answer", "sentence"),
    [
        ({"corrected_by": "observed", "file_factor": "1.034"}, "Uncorrected values have no factor."),
        ({"corrected_by": "other"}, "Enter the factor. There is no formula for other standards."),
        ({"corrected_by": "other", "file_factor": "3"}, "less than or equal to 1.5"),
    ],
)
def test_impossible_answers_are_refused(take, login, answer, sentence) -> None:
    run = take(corrected_file(CORRECTED_HEADER, unit_kw=HP_KW))
    refused = name_columns_on_page(login(Role.TUNER), run, **answer)
    assert refused.status_code == 422
    assert sentence in read_text(refused)


def test_air_in_the_file_takes_its_correction_back(take, shop) -> None:
    """By DIN 70020 the factor is 1013.25/970 × √(303.15/293.15) = 1.062256, whatever the run's own air is."""
    din = 101.325 / 97.0 * (303.15 / 293.15) ** 0.5
    header = f"{PLAIN},Ambient temperature (°C),Baro (hPa),Humidity (%)"
    power = din * OBSERVED_KW
    rows = "".join(
        f"{t:.3f},{n:.1f},{p:.4f},100.0,30.0,970,60\n"
        for t, n, p in zip(TIME_S, SPEED_RPM, power, strict=True)
    )
    run = take(f"{header}\n{rows}".encode(), corrected_by="din_70020")
    assert run.status == Run.Status.READ
    result = get_result(run, shop)
    assert result.observed is not None
    assert result.observed.peak_power_kw == pytest.approx(63.1, rel=2e-3)


@pytest.mark.parametrize(
    "above",
    [
        "Air temperature: 30.0 °C\nBarometer: 970 hPa\nHumidity: 60 %\nOil temperature 95 °C\n",
        "Oil temperature 95 °C\nRoom air; 86 °F; 28.644 inHg; 60 %\n",
        "Raumluft;30,0 °C;970 hPa;60 %\n",
    ],
)
def test_air_above_the_header_takes_the_correction_back(take, shop, above) -> None:
    """By DIN 70020 as above; 28.644 inHg are 97.0 kPa (NIST SP 811)."""
    din = 101.325 / 97.0 * (303.15 / 293.15) ** 0.5
    run = take(corrected_file(PLAIN, f"{above}\n"), corrected_by="din_70020")
    result = get_result(run, shop)
    assert result.observed is not None
    # the file's power is FACTOR times the truth
    assert result.observed.peak_power_kw == pytest.approx(FACTOR * 63.1 / din, rel=2e-3)


def test_constant_column_of_factors_is_noticed(take, shop) -> None:
    data = corrected_file(f"{PLAIN},Correction factor", extra=",1.034")
    run = take(data, corrected_by="other", **AIR)
    assert run.file_factor == pytest.approx(FACTOR)
    observed, _ = peaks(get_result(run, shop))
    assert observed == pytest.approx(63.1, rel=2e-3)
    doubtful = take(data + b"\n", **AIR)
    assert not get_result(doubtful, shop).is_corrected


@pytest.mark.parametrize(
    "above",
    ["", "Correction: none\n", "Correction factor 1.000\n", "Oil: SAE 10W-40\n", "Fuel correction 1.05\n"],
)
def test_files_that_say_nothing_of_it_are_corrected_once(take, shop, above) -> None:
    run = take(corrected_file(PLAIN, above), corrected_by="observed", **AIR)
    result = get_result(run, shop)
    assert result.is_corrected
    assert not any(flag.code == "file-correction" for flag in result.flags)


def test_run_table_and_sheet_say_when_it_is_unknown(take, shop, login) -> None:
    from jobs.runs.facts import run_facts
    from jobs.templatetags.facts import run_remarks

    run = take(corrected_file(PLAIN), **AIR)
    page = read_text(login(Role.DESK).get(reverse("runs", args=[run.job])))
    assert "Correction in the file: not known." in page
    remarks = run_remarks([run_facts(get_result(run, shop))])
    assert any(
        "It is not known whether the values in the file are already corrected" in remark["text"]
        for remark in remarks
    )
    Run.objects.update(corrected_by="observed")
    run.refresh_from_db()
    assert not run_facts(get_result(run, shop)).file_correction_unknown


def test_another_factor_than_the_file_states_is_told(take, shop) -> None:
    run = take(corrected_file(PLAIN, "CF: 1.034\n"), corrected_by="sae_j607", file_factor=1.02, **AIR)
    sentences = [flag.sentence for flag in get_result(run, shop).flags]
    assert any(
        "states a factor of 1.034" in sentence and "1.02 was entered" in sentence for sentence in sentences
    )


def test_a_file_in_doubt_is_not_compared_with_one_that_is_not(take, shop) -> None:
    job = make_job()
    doubtful = take(corrected_file(PLAIN, "Correction factor: 1.034\n"), job, **AIR)
    observed = take(corrected_file(PLAIN), job, "b.csv", corrected_by="observed")  # no air: not corrected
    found, reason = compare_groups([get_result(doubtful, shop)], [get_result(observed, shop)], shop)
    assert found is None
    assert reason.startswith("The files of some of these runs may already be corrected.")
