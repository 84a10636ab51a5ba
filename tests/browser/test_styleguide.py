"""The components fit the window, meet WCAG 2.2 AA in both themes, and their shapes are drawn."""

import io
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Locator, Page

from tests import factories
from tests.browser.steps import find_accessibility_faults, fits_window, follow
from workshop.models import Role

pytestmark = pytest.mark.urls("tests.workshop.styleguide.site_urls")
SHAPES = ".icons .icon, .state, .verdict, .mark-race-only, .stepper .icon, .whisker"


@pytest.fixture
def styleguide(page: Page, live_server: Any) -> Page:
    person = factories.make_staff(Role.OWNER)
    page.goto(f"{live_server.url}/log-in/?next=/styleguide/")
    page.get_by_label("Username").fill(person.username)
    page.get_by_label("Password").fill("a long enough pass phrase")
    follow(page.get_by_role("button", name="Log in"))
    return page


def count_colours(shape: Locator) -> int:
    """Return how many colours a picture of an element has; one means that nothing is drawn."""
    return len(Image.open(io.BytesIO(shape.screenshot())).convert("RGB").getcolors(maxcolors=1_000_000) or [])


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_components_fit_and_are_accessible(styleguide: Page, scheme: Any) -> None:
    styleguide.emulate_media(color_scheme=scheme)
    for width in (1440, 390):
        styleguide.set_viewport_size({"width": width, "height": 900})
        assert fits_window(styleguide)
        assert find_accessibility_faults(styleguide) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_shape_is_drawn(styleguide: Page, scheme: Any) -> None:
    styleguide.emulate_media(color_scheme=scheme)
    shapes = styleguide.locator(SHAPES)
    assert shapes.count() > 60
    blank = [n for n in range(shapes.count()) if count_colours(shapes.nth(n)) < 2]
    assert blank == []
