"""The talk-through in the browser: steps by keys, buttons and swipes, pictures enlarged and moved, notes."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Locator, Page, expect

from jobs.models import Job
from tests.browser.steps import assert_accessible, assert_fits, follow
from tests.reports import whole_jobs
from workshop.models import Role


@pytest.fixture
def job(people: dict[Role, Any]) -> Job:
    return whole_jobs.make_whole_job(people)


@pytest.fixture
def talk(log_in: Callable[[Role], Page], job: Job, live_server: Any) -> Page:
    page = log_in(Role.TUNER)
    page.goto(live_server.url + reverse("talk-through", args=[job]))
    wait_until_live(page)
    return page


def visible_step(page: Page) -> Locator:
    steps = page.locator(".talk-step:visible")
    expect(steps).to_have_count(1)
    return steps


def get_keys(page: Page) -> list[str]:
    return page.locator(".talk-step").evaluate_all("steps => steps.map((step) => step.id)")


def open_step(page: Page, key: str | None) -> None:
    page.goto(f"{page.url.split('#')[0]}#{key}")
    page.reload()
    wait_until_live(page)


def wait_until_live(page: Page) -> None:
    """Wait for the script, which shows one step and counts them."""
    expect(page.locator(".talk-count")).to_have_text(re.compile(r"^\d+ / \d+$"))


def open_picture(page: Page) -> Locator:
    """Go to a step with one picture and return the drawing."""
    open_step(page, "curves")
    drawing = page.locator("#curves .talk-zoom > svg").first
    expect(drawing).to_be_visible()
    return drawing


def box(locator: Locator) -> dict[str, float]:
    found = locator.bounding_box()
    assert found is not None
    return dict(found)


def wait_for_width(drawing: Locator, width: float) -> None:
    drawing.page.wait_for_function(
        "([drawing, width]) => Math.abs(drawing.getBoundingClientRect().width - width) < 0.01 * width",
        arg=[drawing.element_handle(), width],
    )


def wait_for_place(drawing: Locator, x: float, y: float) -> None:
    drawing.page.wait_for_function(
        """([drawing, x, y]) => {
            const box = drawing.getBoundingClientRect();
            return Math.abs(box.x - x) < 1 && Math.abs(box.y - y) < 1;
        }""",
        arg=[drawing.element_handle(), x, y],
    )


def test_keys_and_buttons_go_from_step_to_step(talk: Page) -> None:
    keys = get_keys(talk)
    for key in keys[1:]:
        talk.keyboard.press("ArrowRight")
        expect(visible_step(talk)).to_have_id(key)
    expect(talk.get_by_role("button", name="Next step")).to_be_disabled()
    talk.get_by_role("button", name="Previous step").click()
    expect(visible_step(talk)).to_have_id(keys[-2])
    talk.keyboard.press("Home")
    expect(visible_step(talk)).to_have_id(keys[0])
    expect(talk.get_by_role("status")).to_have_text(f"1 / {len(keys)}")
    expect(talk.get_by_role("button", name="Previous step")).to_be_disabled()


def test_step_is_shown_again_after_a_reload(talk: Page) -> None:
    talk.keyboard.press("ArrowRight")
    key = get_keys(talk)[1]
    talk.reload()
    expect(visible_step(talk)).to_have_id(key)


def test_notes_are_for_the_speaker_and_hidden_until_wanted(talk: Page) -> None:
    notes = talk.locator(".talk-notes:visible")
    for _ in get_keys(talk):
        expect(notes).to_have_count(0)
        talk.keyboard.press("ArrowRight")
    open_step(talk, "tune")
    talk.keyboard.press("n")
    expect(notes).to_contain_text("stalls when warm")
    expect(talk.get_by_role("button", name="Notes for the speaker")).to_have_attribute("aria-pressed", "true")
    talk.keyboard.press("n")
    expect(notes).to_have_count(0)


def test_picture_is_enlarged_about_the_point_and_moved(talk: Page) -> None:
    drawing = open_picture(talk)
    window = box(drawing.locator(".."))
    before = box(drawing)
    at = {"x": before["width"] * 0.75, "y": before["height"] * 0.25}
    drawing.dblclick(position=at)
    wait_for_width(drawing, 2.25 * before["width"])
    larger = box(drawing)
    # The point under the pointer stays where it was.
    assert larger["x"] + 2.25 * at["x"] == pytest.approx(before["x"] + at["x"], abs=2)
    assert larger["y"] + 2.25 * at["y"] == pytest.approx(before["y"] + at["y"], abs=2)
    centre = (window["x"] + window["width"] / 2, window["y"] + window["height"] / 2)
    talk.mouse.move(*centre)
    talk.mouse.down()
    talk.mouse.move(centre[0] + 40, centre[1] + 10, steps=4)
    talk.mouse.up()
    wait_for_place(drawing, larger["x"] + 40, larger["y"] + 10)
    # It cannot be lost: its edge stops at the edge of its place.
    for _ in range(40):
        talk.keyboard.press("Shift+ArrowLeft")
    wait_for_place(drawing, before["x"], box(drawing)["y"])
    expect(visible_step(talk)).to_have_id("curves")
    drawing.dblclick()
    wait_for_width(drawing, before["width"])


def test_pictures_of_a_step_are_enlarged_together(talk: Page) -> None:
    several = talk.locator(".talk-step:has(.talk-zoom ~ .talk-zoom), .talk-step:has(.talk-charts-many)").first
    open_step(talk, several.get_attribute("id"))
    drawings = visible_step(talk).locator(".talk-zoom > svg")
    before = [box(drawing)["width"] for drawing in drawings.all()]
    assert len(before) > 1
    talk.get_by_role("button", name="Zoom in").click()
    for drawing, width in zip(drawings.all(), before, strict=True):
        wait_for_width(drawing, 1.5 * width)
    talk.keyboard.press("ArrowRight")
    talk.keyboard.press("ArrowLeft")
    for drawing, width in zip(drawings.all(), before, strict=True):
        wait_for_width(drawing, width)


def test_swipes_turn_the_steps_on_a_phone(talk: Page) -> None:
    keys = get_keys(talk)
    talk.set_viewport_size({"width": 390, "height": 844})
    swipe = """([from, to]) => {
        const touch = (x) => new Touch({ identifier: 1, target: document.body, clientX: x, clientY: 400 });
        const send = (type, x) => document.body.dispatchEvent(new TouchEvent(type, {
            bubbles: true, touches: type === "touchstart" ? [touch(x)] : [], changedTouches: [touch(x)],
        }));
        send("touchstart", from);
        send("touchend", to);
    }"""
    talk.evaluate(swipe, [300, 100])
    expect(visible_step(talk)).to_have_id(keys[1])
    talk.evaluate(swipe, [100, 130])  # too short
    expect(visible_step(talk)).to_have_id(keys[1])
    talk.evaluate(swipe, [100, 300])
    expect(visible_step(talk)).to_have_id(keys[0])


@pytest.mark.parametrize("width", [390, 1024, 1440, 2560])
def test_every_step_fits_the_screen_and_is_accessible(talk: Page, width: int) -> None:
    talk.set_viewport_size({"width": width, "height": 844 if width == 390 else 900})
    for _ in get_keys(talk):
        assert_fits(talk)
        assert_accessible(talk)
        talk.keyboard.press("ArrowRight")


def test_steps_are_chosen_on_their_page(talk: Page, job: Job) -> None:
    talk.set_viewport_size({"width": 1440, "height": 900})
    follow(talk.get_by_role("link", name="Choose the steps"))
    first, second = get_keys_chosen(talk)[:2]
    talk.locator(f"#id_step_{first}").fill("9")
    follow(talk.get_by_role("button", name="Save"))
    talk.goto(talk.url.split("/jobs/")[0] + reverse("talk-through", args=[job]))
    assert get_keys(talk)[0] == second


def get_keys_chosen(page: Page) -> list[str]:
    fields = page.locator("[id^=id_step_]").evaluate_all("all => all.map((each) => [each.value, each.id])")
    chosen = sorted((int(value), name) for value, name in fields if value)
    return [name.removeprefix("id_step_") for _, name in chosen]
