"""The first page tells of the bike as it came and as it is now, and pretends nothing that no record holds."""

import re
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings

from fixtures import simulator
from jobs.models import Part, TuneRevision
from reports.handover import story
from reports.handover.evidence import deviation_cell
from reports.handover.sheet import changed_more, now_label, prepare, sheet_pdf
from reports.handover.snapshot.codec import from_json
from reports.typesetting.wording import with_languages_marked, with_units_kept
from tests import factories
from tests.reports import whole_jobs
from tests.reports.conftest import stored_snapshot
from tests.reports.reading import pages, squeezed
from tests.reports.whole_jobs import hours
from workshop.models import Role

pytestmark = pytest.mark.one_database

Snapshot = dict[str, Any]
STYLE = Path(settings.BASE_DIR) / "templates" / "reports" / "handover" / "sheet" / "sheet.css"


class Again:
    """A simulated run under another name, as a file made later."""

    def __init__(self, made: simulator.SimulatedRun, name: str) -> None:
        self.made, self.name = made, name

    def __getattr__(self, name: str) -> Any:
        return getattr(self.made, name)


def run_again(job, staff, tune: TuneRevision, at: float) -> list[str]:
    """Make the runs of the bike as it came once more, with another tune; return their names."""
    wanted = [
        run for run in simulator.runs() if (run.bike, run.when, run.kind) == ("tern", "before", "sweep")
    ]
    again = [Again(made, f"tune_{tune.number}_{made.name}") for made in wanted]
    return [
        str(whole_jobs.make_run(job, staff[Role.TUNER], made, hours(at + place / 10), tune))
        for place, made in enumerate(again)
    ]


def load_tune(job, staff, number: int, at: float) -> TuneRevision:
    return TuneRevision.objects.create(
        job=job, number=number, title=f"step {number}", loaded_at=hours(at), loaded_by=staff[Role.TUNER]
    )


@pytest.mark.slow
def test_after_seven_tunes_the_last_one_is_compared_with_the_bike_as_it_came(whole_job, staff) -> None:
    """The shop compared only its first tune, which gave more; the seventh is in the bike."""
    tunes = [load_tune(whole_job, staff, number, 80 + 4 * number) for number in range(2, 8)]
    names = run_again(whole_job, staff, tunes[-1], 110)
    snapshot = from_json(stored_snapshot(whole_job, staff[Role.OWNER]))
    first, overall = snapshot.comparisons[0], snapshot.overall
    assert overall is not None
    assert "more" in {figure.verdict for band in first.bands for figure in band.figures}
    assert overall.after_runs == names
    assert overall.before_runs == first.before_runs
    assert "more torque" not in story.headline(snapshot)
    assert now_label(snapshot) == "Now"


def test_printed_comparison_of_arrival_and_now_is_used(snapshot) -> None:
    facts = from_json(snapshot)
    assert facts.overall_index == 0
    assert len(facts.comparisons) == 1


@pytest.mark.slow
def test_change_after_the_last_run_is_not_called_now(whole_job, staff) -> None:
    Part.objects.create(
        job=whole_job, name="Open silencer", fitted_at=hours(95), kind=factories.get_part_kind("exhaust")
    )
    facts = from_json(stored_snapshot(whole_job, staff[Role.OWNER]))
    assert facts.present is not None
    assert len(facts.present.since) == 1
    assert "Open silencer" in facts.present.since[0]
    html = prepare(facts).html
    assert "At the last run" in html
    assert "less before" not in story.headline(facts)


def test_torque_by_grip_of_the_table_before_is_drawn_like_before_elsewhere(snapshot) -> None:
    lines = snapshot["throttle"]["torque"]["chart"]["panels"][0]["series"]
    looks = {line["label"]: line["state"] for line in lines}
    assert looks == {"Road, as received": "before", "Road, in the bike": "other"}


def test_what_was_done_is_not_said_again_as_a_change(snapshot) -> None:
    done = "Valve clearances: 6 of 12 out of range as found; all 12 on target as left."
    changed = ["6 of 12 out of range as found; all 12 on target as left.", "5 things were changed."]
    facts = from_json(valves_only(snapshot) | {"done": [done], "changed": changed})
    assert changed_more(facts) == changed[1:]


def valves_only(snapshot: Snapshot) -> Snapshot:
    """Return the commonest sheet: clearances and nothing else."""
    emptied: Snapshot = {"runs": [], "comparisons": [], "mixture": [], "parts": [], "bike_changes": []}
    emptied |= {"tune": None, "throttle": None, "suspension": None, "present": None, "changed": []}
    emptied["notices"] = snapshot["notices"] | {"state": "clear", "causes": [], "cautions": []}
    return snapshot | emptied


@pytest.mark.slow
def test_valve_check_alone_is_short_and_claims_nothing_of_the_engine(snapshot, print_once) -> None:
    printed = pages(print_once(valves_only(snapshot)))
    first, whole = printed[0], squeezed("".join(printed))
    assert len(printed) <= 6
    assert "Valves set." in first
    assert story.NOTHING_FOR_ROAD in " ".join(first.split())
    for words in ("How we know", "Torque before", "Mixture", "Riding modes", "more torque"):
        assert squeezed(words) not in whole
    assert (
        squeezed("No dyno runs were made, so this sheet says nothing about power, torque or mixture.")
        in whole
    )


def test_valves_that_are_left_out_of_range_come_first(snapshot) -> None:
    snapshot["clearances"]["out"] = ["cylinder 1, intake left"]
    facts = from_json(snapshot)
    assert story.headline(facts).startswith("1 valve clearance not in range")
    assert story.topics(facts)[0].key == "clearances"
    assert story.topics(facts)[0].is_open


def test_headline_has_at_most_three_clauses(snapshot) -> None:
    assert story.headline(from_json(snapshot)).count(",") <= 2


def test_each_wish_is_answered_on_the_first_page(snapshot, print_once) -> None:
    wish = {"text": "The throttle snatches in town", "result": "met", "result_label": "done"}
    shown = {"title": "Throttle table", "name": "Road", "printed": "throttle"}
    snapshot["wishes"] = [
        wish | {"answer": "It opens less at first.", "answered_by": "Sun", "records": [shown]},
        wish | {"text": "More grip", "answer": "It felt better.", "answered_by": "Sun", "records": []},
        wish | {"text": "No leaks", "answer": "", "answered_by": "", "records": []},
    ]
    first = squeezed(pages(print_once(snapshot))[0])
    for words in (
        "snatches in town”",
        "It opens less at first.",
        "It felt better. (words of Sun)",
        "No answer",
    ):
        assert squeezed(words) in first
    assert re.search(r"Itopenslessatfirst\.doneA\d", first)


def test_first_rides_are_at_most_five_lines_and_begin_with_the_check_before_setting_off(snapshot) -> None:
    snapshot["notices"]["cautions"] = [f"Caution {number}." for number in range(9)]
    rides = story.first_rides(from_json(snapshot))
    assert len(rides) == 5
    assert "return to closed by itself" in rides[0].text
    assert "7 more points under Safety" in rides[-2].text


def test_mixture_of_before_is_not_told_in_the_present(snapshot) -> None:
    """A study from before the first change describes the bike as it came, not as it is."""
    study = snapshot["mixture"][0]
    names = [run["name"] for run in snapshot["runs"] if "_before_" in run["name"]]
    earlier = study | {
        "title": "As it came",
        "runs": names,
        "grave": ["Lean at high load: do not hold it there."],
    }
    facts = from_json(snapshot | {"mixture": [earlier, study]})
    before, now = story.mixture_before_and_now(facts)
    assert (before.title, now.title) == ("As it came", study["title"])
    html = prepare(facts).html
    told = html[html.index("measured then and no longer so") :]
    assert "Lean at high load: do not hold it there." in told
    assert '<p class="warn">Lean at high load: do not hold' not in html


@pytest.mark.parametrize(
    ("off", "text"), [(0.005, "·"), (0.02, "+2.0"), (-0.045, "−4.5"), (0.08, "+8.0"), (None, "")]
)
def test_mixture_cell_is_readable_without_its_shade(off: float | None, text: str) -> None:
    cell = deviation_cell(off, is_grave=False)
    assert cell.text == text
    assert f".{cell.css_class}" in STYLE.read_text() or cell.css_class == "heat-on"


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("<p>1.2 kW at 9000 rpm</p>", "<p>1.2\xa0kW at 9000\xa0rpm</p>"),
        ("<p>95 % of 3 mm ± 0.1 mm</p>", "<p>95\xa0% of 3\xa0mm\xa0±\xa00.1\xa0mm</p>"),
        ("<p>3 modes, 2 rings</p>", "<p>3 modes, 2 rings</p>"),
    ],
)
def test_numbers_and_units_are_not_parted(text: str, kept: str) -> None:
    assert with_units_kept(text) == kept


def test_no_number_of_a_sheet_is_parted_from_its_unit(snapshot) -> None:
    html = with_units_kept(prepare(from_json(snapshot)).html)
    assert re.findall(r"\d (?:kW|N·m|mm|rpm|kPa|°C|km)\b", html) == []


def test_other_scripts_have_their_language_and_direction() -> None:
    """Language tags of BCP 47; a single Greek letter is a symbol."""
    head = "<html><head><title>נועה</title></head>"
    marked = with_languages_marked(
        f"{head}<body><p title='x'>For נועה לוי and 김민준, λ 0.9</p></body></html>"
    )
    assert '<span lang="he" dir="rtl">נועה לוי</span>' in marked
    assert '<span lang="ko">김민준</span>' in marked
    assert "<title>נועה</title>" in marked
    assert ", λ 0.9" in marked


@pytest.mark.slow
def test_inch_shop_reads_no_metric_length_or_speed(whole_job, staff) -> None:
    whole_jobs.make_shop(
        length_unit="in", distance_unit="mi", power_unit="hp", torque_unit="lbf_ft", pressure_unit="inhg",
        temperature_unit="f", paper="Letter",
    )  # fmt: skip
    snapshot = stored_snapshot(whole_job, staff[Role.OWNER])
    text = " ".join("".join(pages(sheet_pdf(snapshot))).split())
    typed = ("after 500 km",)  # by the shop itself
    shims = {"2.50 mm", "2.45 mm"}  # marked in mm everywhere
    found = {found.strip() for found in re.findall(r"\d[\d.,]* ?(?:mm|km/h|kW|N·m|kPa)\b", text)}
    assert found - shims == set()
    assert [words for words in re.findall(r"\w+ \d+ km\b", text) if words not in typed] == []
