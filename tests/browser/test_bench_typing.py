"""Typing clearances as fast as the keypad goes: each number lands in its box."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Locator, Page, expect

from jobs.models import ClearanceSet, Job
from tests import factories
from tests.browser.steps import assert_accessible, assert_message, follow, get_textbox
from tests.jobs.clearances.test_clearances import make_plan, make_single_with_screws
from workshop.models import EngineSpec, Role

# In entry order, four valves a cylinder.
ROUND = ["0.31", "0.27", "0.16", "0.12", "0.33", "0.35", "0.11", "0.20"] * 2
FIRST = "cylinder 1, exhaust left"


@pytest.fixture
def bench(log_in: Callable[[Role], Page]) -> Page:
    return log_in(Role.MECHANIC)


def job_with(spec: EngineSpec) -> Job:
    return factories.make_job(bike=factories.make_bike(engine_spec=spec))


def open_entry(page: Page, live_server: Any, job: Job, when: str = "as_found") -> None:
    page.goto(live_server.url + reverse("clearances-new", args=[job.number, when]))
    page.get_by_label("Engine temperature").fill("21")


def in_entry_order(page: Page, kind: str) -> list[str]:
    """Return the contents of the boxes of a kind: c clearance, s marking, m measured shim."""
    boxes: list[str] = page.evaluate(
        """kind => [...document.querySelectorAll(`input[name^="${kind}-"]`)]
            .sort((a, b) => a.dataset.orderCylinder - b.dataset.orderCylinder).map((box) => box.value)""",
        kind,
    )
    return boxes


def type_fast(page: Page, first: Locator, texts: list[str]) -> None:
    """Type numbers with Enter after each, without any pause."""
    first.click()
    page.keyboard.type("".join(f"{text}\n" for text in texts))


@pytest.mark.parametrize("mark", [",", "."])
@pytest.mark.parametrize("cylinders", [3, 4])
def test_numbers_with_enter_land_one_to_a_valve(
    bench: Page, live_server: Any, cylinders: int, mark: str
) -> None:
    job = job_with(factories.make_engine(cylinders=cylinders))
    open_entry(bench, live_server, job)
    typed = [text.replace(".", mark) for text in ROUND[: 4 * cylinders]]
    type_fast(bench, get_textbox(bench, FIRST), typed)
    assert in_entry_order(bench, "c") == typed
    # After the last clearance Enter goes to the markings, and from the last marking to the button.
    expect(get_textbox(bench, f"{FIRST}: shim fitted, as marked")).to_be_focused()
    markings = [f"2{mark}{number}" for number in range(10, 10 + 4 * cylinders)]
    bench.keyboard.type("".join(f"{text}\n" for text in markings))
    expect(bench.get_by_role("button", name="Save clearances")).to_be_focused()
    assert in_entry_order(bench, "s") == markings
    assert set(in_entry_order(bench, "m")) == {""}
    with bench.expect_navigation():
        bench.keyboard.press("Enter")
    assert ClearanceSet.objects.get().readings.filter(shim_measured_mm=None).count() == 4 * cylinders


def test_numbers_without_enter_land_one_to_a_valve(bench: Page, live_server: Any) -> None:
    """A keypad on a phone may have no Enter."""
    open_entry(bench, live_server, factories.make_job())
    get_textbox(bench, FIRST).click()
    bench.keyboard.type("".join(ROUND[:12]))
    assert in_entry_order(bench, "c") == ROUND[:12]


def test_brackets_are_typed_in_every_box(bench: Page, live_server: Any) -> None:
    open_entry(bench, live_server, factories.make_job())
    typed = ["0,30-0,32"] * 11 + ["0.15-0.18"]
    type_fast(bench, get_textbox(bench, FIRST), typed)
    assert in_entry_order(bench, "c") == typed
    assert set(in_entry_order(bench, "s")) == {""}


def test_bracket_in_the_last_box_before_the_button_is_whole(bench: Page, live_server: Any) -> None:
    job = job_with(make_single_with_screws())
    open_entry(bench, live_server, job)
    type_fast(bench, get_textbox(bench, "cylinder 1, exhaust"), ["0.28", "0,15-0,18"])
    assert in_entry_order(bench, "c") == ["0.28", "0,15-0,18"]
    expect(bench.get_by_role("button", name="Save clearances")).to_be_focused()


@pytest.mark.parametrize("rest", ["0.155", "0.006 in", "0.12mm"])
def test_characters_after_the_second_decimal_stay_with_their_number(
    bench: Page, live_server: Any, rest: str
) -> None:
    open_entry(bench, live_server, factories.make_job())
    type_fast(bench, get_textbox(bench, FIRST), [rest, "0.27", rest])
    assert in_entry_order(bench, "c")[:4] == [rest, "0.27", rest, ""]


def test_measured_shims_are_a_round_of_their_own(bench: Page, live_server: Any) -> None:
    job = job_with(make_single_with_screws(adjuster="shim_over_bucket", shim_diameter_mm="29"))
    open_entry(bench, live_server, job)
    bench.get_by_role("button", name="Shims").click()
    type_fast(bench, get_textbox(bench, "cylinder 1, exhaust: shim measured"), ["2.481", "2.5"])
    assert (in_entry_order(bench, "m"), in_entry_order(bench, "s")) == (["2.481", "2.5"], ["", ""])
    expect(bench.get_by_role("button", name="Save clearances")).to_be_focused()


@pytest.mark.parametrize("key", ["Enter", "Tab"])
def test_key_right_after_a_number_passes_no_valve_over(bench: Page, live_server: Any, key: str) -> None:
    open_entry(bench, live_server, factories.make_job())
    get_textbox(bench, FIRST).click()
    bench.keyboard.type("0.31")
    bench.keyboard.press(key)
    second = get_textbox(bench, "cylinder 1, exhaust right")
    expect(second).to_be_focused()
    expect(bench.get_by_text(f"{key} again skips")).to_be_visible()
    bench.keyboard.press(key)
    expect(second).not_to_be_focused()
    expect(bench.get_by_text(f"{key} again skips")).to_have_count(0)


def test_held_enter_passes_nothing_over(bench: Page, live_server: Any) -> None:
    open_entry(bench, live_server, factories.make_job())
    get_textbox(bench, FIRST).click()
    bench.keyboard.type("0.3")
    for _ in range(5):
        bench.keyboard.down("Enter")
    expect(get_textbox(bench, "cylinder 1, exhaust right")).to_be_focused()


def test_passed_over_valves_are_marked_counted_and_told_before_saving(bench: Page, live_server: Any) -> None:
    open_entry(bench, live_server, factories.make_job())
    count, passed = bench.locator("[data-bench-count]"), bench.locator("[data-bench-passed]")
    get_textbox(bench, FIRST).fill("0.31")
    expect(passed).to_be_empty()  # boxes not reached yet are not passed over
    get_textbox(bench, "cylinder 2, exhaust left").fill("0,31")
    expect(passed).to_have_text(
        "3 valves skipped: cylinder 1, exhaust right; cylinder 1, intake left; cylinder 1, intake right"
    )
    expect(count).to_have_text("2 of 12 measured")
    one = bench.get_by_role("group", name="Cylinder 1")
    expect(one.get_by_text("skipped", exact=True)).to_have_count(3)
    save = bench.get_by_role("button", name="Save clearances")
    expect(save).to_have_accessible_description(
        "3 valves skipped: cylinder 1, exhaust right; cylinder 1, intake left; cylinder 1, intake right"
    )
    assert_accessible(bench)
    get_textbox(bench, "cylinder 1, exhaust right").fill("0.29")
    get_textbox(bench, "cylinder 1, intake left").fill("0.12")
    expect(passed).to_have_text("1 valve skipped: cylinder 1, intake right")
    expect(one.get_by_text("skipped", exact=True)).to_have_count(1)
    follow(save)  # named, not refused
    assert_message(
        bench, "Clearances as found saved: 4 of 12. 8 skipped: cylinder 1, intake right; cylinder 2,"
    )
    assert ClearanceSet.objects.get().readings.count() == 4


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("0.19", "0.03 mm looser than predicted"),
        ("0,13", "0.03 mm tighter than predicted"),
        ("0.20-0.22", "0.04 mm looser than predicted"),
        ("0.18", ""),
        ("0.14", ""),
    ],
)
def test_as_left_away_from_the_prediction_is_said_while_typing(
    bench: Page, live_server: Any, people: dict[Role, Any], typed: str, said: str
) -> None:
    job = factories.make_job()
    earlier = timezone.now() - timedelta(hours=1)
    found = factories.make_clearance_set(job, people[Role.MECHANIC], clearance_mm="0.21", measured_at=earlier)
    make_plan(found, people[Role.MECHANIC], predicted_mm="0.16")
    open_entry(bench, live_server, job, "as_left")
    get_textbox(bench, "cylinder 1, intake left").click()
    bench.keyboard.type(typed)
    told = bench.locator('[data-place="1-intake-1-opening"] .prediction')
    if said:
        expect(told).to_contain_text(said)
        expect(bench.locator("[data-bench-count]")).to_contain_text("1 not as predicted")
    else:
        expect(bench.locator("[data-bench-count]")).to_have_text("1 of 12 measured")
        expect(told).to_be_empty()
    follow(bench.get_by_role("button", name="Save clearances"))
    # The server says the same after saving.
    surprises = bench.get_by_text("than the 0.16 mm predicted")
    expect(surprises).to_have_count(1 if said else 0)
    if said:
        expect(surprises).to_contain_text(said.removesuffix("predicted") + "the 0.16 mm predicted")


# Verdict, gauge, undo, arrows and keypad


def reading(page: Page, slug: str) -> Locator:
    return page.locator(f'[data-place="{slug}-opening"]')


def test_verdict_waits_for_the_second_decimal_or_for_leaving_the_box(bench: Page, live_server: Any) -> None:
    open_entry(bench, live_server, factories.make_job())
    first = reading(bench, "1-exhaust-1").locator(".verdict")
    get_textbox(bench, FIRST).click()
    bench.keyboard.type("0.3")
    expect(first).to_be_empty()
    bench.keyboard.type("1")
    expect(first).to_have_text("on target")
    get_textbox(bench, FIRST).fill("0.2")
    expect(first).to_be_empty()
    bench.keyboard.press("Tab")
    expect(first).to_have_text("tight")


def test_inch_reading_is_judged_at_the_third_decimal(bench: Page, live_server: Any) -> None:
    open_entry(bench, live_server, factories.make_job())
    bench.get_by_label("Feeler gauge units").select_option("in")
    first = reading(bench, "1-exhaust-1").locator(".verdict")
    get_textbox(bench, FIRST).click()
    bench.keyboard.type("0.01")
    expect(first).to_be_empty()
    bench.keyboard.type("2")
    expect(first).to_have_text("on target")  # 0.012 × 25.4 = 0.3048 mm; target 0.31 ± 0.01
    expect(get_textbox(bench, FIRST)).to_be_focused()


def test_gauge_names_the_valve_and_says_how_far_off_it_is(bench: Page, live_server: Any) -> None:
    open_entry(bench, live_server, factories.make_job())
    get_textbox(bench, FIRST).click()
    expect(bench.locator("[data-bench-valve]")).to_have_text("Cylinder 1, exhaust left")
    for typed, said in {
        "0.21": "0.04 mm below the lower limit",
        "0.25": "exactly at the lower limit, still in range",
        "0.29": "0.02 mm tighter than the target",
        "0.37": "0.02 mm above the upper limit",
        "0.34-0.36": "The blades are on both sides of a limit. Use finer blades.",
    }.items():
        get_textbox(bench, FIRST).fill(typed)
        expect(bench.locator("[data-bench-off]")).to_have_text(said)
    expect(reading(bench, "1-exhaust-1").locator(".verdict")).to_have_text("not certain")
    get_textbox(bench, FIRST).fill("0.35")
    expect(reading(bench, "1-exhaust-1")).to_have_attribute("data-limit", "upper")
    expect(reading(bench, "1-exhaust-1").locator(".verdict")).to_have_text("in range, at upper limit")


def test_undo_takes_back_one_reading_at_a_time(bench: Page, live_server: Any) -> None:
    open_entry(bench, live_server, factories.make_job())
    type_fast(bench, get_textbox(bench, FIRST), ["0.31", "0.27"])
    bench.keyboard.type("0.1")
    bench.keyboard.press("Control+z")
    assert in_entry_order(bench, "c")[:3] == ["0.31", "0.27", ""]
    bench.keyboard.press("Control+z")
    assert in_entry_order(bench, "c")[:3] == ["0.31", "", ""]
    expect(get_textbox(bench, "cylinder 1, exhaust right")).to_be_focused()
    undo = bench.get_by_role("button", name="Undo the last reading")
    undo.click()
    assert in_entry_order(bench, "c")[:3] == ["", "", ""]
    expect(get_textbox(bench, FIRST)).to_be_focused()
    expect(undo).to_be_disabled()
    bench.keyboard.type("0.30")  # and goes on as before
    expect(get_textbox(bench, "cylinder 1, exhaust right")).to_be_focused()


def test_backspace_right_after_moving_on_corrects_the_number_just_typed(
    bench: Page, live_server: Any
) -> None:
    open_entry(bench, live_server, factories.make_job())
    get_textbox(bench, FIRST).click()
    bench.keyboard.type("0.33")
    expect(get_textbox(bench, "cylinder 1, exhaust right")).to_be_focused()
    # What was just measured is shown until the next key.
    expect(bench.locator("[data-bench-off]")).to_have_text("0.02 mm looser than the target")
    bench.keyboard.press("Backspace")
    bench.keyboard.type("1")
    assert in_entry_order(bench, "c")[:2] == ["0.31", ""]
    expect(get_textbox(bench, FIRST)).to_be_focused()


def test_arrow_keys_go_to_the_neighbour_in_the_drawing(bench: Page, live_server: Any) -> None:
    bench.set_viewport_size({"width": 1024, "height": 768})
    open_entry(bench, live_server, job_with(factories.make_engine(cylinders=4)))
    get_textbox(bench, "cylinder 2, exhaust right").fill("0.31")
    get_textbox(bench, "cylinder 2, exhaust right").focus()
    bench.keyboard.press("End")
    for key, valve in (
        ("ArrowRight", "cylinder 3, exhaust left"),
        ("ArrowDown", "cylinder 3, intake left"),
        ("ArrowLeft", "cylinder 2, intake right"),
        ("ArrowUp", "cylinder 2, exhaust right"),
    ):
        bench.keyboard.press(key)
        expect(get_textbox(bench, valve)).to_be_focused()
    bench.keyboard.press("ArrowRight")  # all of it was chosen, so an arrow leaves it
    expect(get_textbox(bench, "cylinder 3, exhaust left")).to_be_focused()


def test_keypad_types_readings_and_keeps_the_system_keyboard_away(bench: Page, live_server: Any) -> None:
    open_entry(bench, live_server, factories.make_job())
    first = get_textbox(bench, FIRST)
    expect(first).to_have_attribute("inputmode", "decimal")
    bench.get_by_role("button", name="Keypad").click()
    expect(first).to_have_attribute("inputmode", "none")
    pad = bench.get_by_role("group", name="Keypad")
    first.click()

    def press(keys: str) -> None:
        names = {"-": "Between two blades", "<": "Delete a digit", ">": "Next"}
        for key in keys:
            pad.get_by_role("button", name=names.get(key, key), exact=True).click()

    press("0.310.24-0.26>0.19<6")
    assert in_entry_order(bench, "c")[:4] == ["0.31", "0.24-0.26", "0.16", ""]
    expect(reading(bench, "1-exhaust-2").locator(".verdict")).to_have_text("not certain")
    for button in pad.get_by_role("button").all():
        size = button.bounding_box()
        assert size is not None
        assert min(size["width"], size["height"]) >= 44
    bench.reload()
    expect(bench.get_by_role("group", name="Keypad")).to_be_visible()  # this browser remembers it


@pytest.mark.parametrize(
    "engine",
    [
        {"cylinders": 4, "firing_order": "1-2-4-3"},
        {"cylinders": 4, "arrangement": "v"},
        {"cylinders": 4, "arrangement": "boxer"},
    ],
)
def test_sixteen_valves_are_on_one_screen_without_scrolling(
    bench: Page, live_server: Any, engine: dict[str, Any]
) -> None:
    bench.set_viewport_size({"width": 1024, "height": 768})
    open_entry(bench, live_server, job_with(factories.make_engine(**engine)))
    bench.get_by_role("button", name="Keypad").click()
    for box in bench.locator(".engine-reading > input").all():
        box.fill("0.10-0.12")
    bench.evaluate("window.scrollTo(0, 0)")
    covered = bench.evaluate(
        """[...document.querySelectorAll(
            ".engine-reading > input, .bench-pad button, .bench-dock [type=submit]"
        )].filter((box) => {
            const { left, right, top, bottom } = box.getBoundingClientRect();
            const seen = document.elementFromPoint((left + right) / 2, (top + bottom) / 2);
            return bottom > innerHeight || (seen !== box && !box.contains(seen));
        }).map((box) => box.id || box.textContent)"""
    )
    assert covered == []
