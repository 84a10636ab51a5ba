"""Scripts as deployed: collected, with a hash in their names."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.test import override_settings
from django.urls import reverse
from playwright.sync_api import Page, expect
from whitenoise.compress import Compressor

from tests import factories
from tests.jobs.run_files import attach_sweep
from workshop.models import Role
from workshop.settings import STORAGES

LogIn = Callable[[Role], Page]
HASHED = re.compile(r"\.[0-9a-f]{12}\.(css|js)$")
# Compression takes half a minute and is not tested here.
UNCOMPRESSED = [*Compressor.SKIP_COMPRESS_EXTENSIONS, "css", "js", "map", "svg", "ttf", "txt", "md"]


@pytest.fixture(scope="module")
def collected(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Collect the static files, and serve pages from them."""
    folder = tmp_path_factory.mktemp("static")
    shop = {"STORAGES": STORAGES, "STATIC_ROOT": folder, "WHITENOISE_SKIP_COMPRESS_EXTENSIONS": UNCOMPRESSED}
    with override_settings(**shop):
        call_command("collectstatic", verbosity=0, interactive=False)
        with override_settings(STATICFILES_DIRS=[folder]):  # where the test server looks
            yield folder


@pytest.fixture
def scripts(collected: Path, site: Page) -> list[str]:
    """List the URLs that the browser loads."""
    loaded: list[str] = []
    site.on("response", lambda response: loaded.append(response.url) if response.ok else None)
    return loaded


def assert_hashed(loaded: list[str], *names: str) -> None:
    ours = [url.rpartition("/")[2] for url in loaded if re.search(r"/static/(css|js)/", url)]
    assert [name for name in ours if not HASHED.search(name)] == []
    assert set(names) <= {name.split(".")[0] for name in ours}


def test_clearance_entry_shows_verdicts_with_collected_scripts(
    scripts: list[str], log_in: LogIn, live_server: Any
) -> None:
    job = factories.make_job()
    page = log_in(Role.MECHANIC)
    page.goto(live_server.url + reverse("clearances-new", args=[job.number, "as_found"]))
    box = page.locator("#id_c-1-intake-1-opening")
    box.press_sequentially("0.01")
    expect(page.locator(".engine-reading", has=box).locator(".verdict")).to_have_text("tight")
    expect(page.locator("[data-draft-note]")).to_contain_text("Draft saved in this browser")
    assert_hashed(scripts, "theme", "drafts", "app", "elements", "clearances", "verdicts")


def test_charts_are_drawn_with_collected_scripts(
    scripts: list[str], log_in: LogIn, people: dict[Role, Any], live_server: Any
) -> None:
    run = attach_sweep(factories.make_job(), people[Role.TUNER]).run
    assert run
    page = log_in(Role.TUNER)
    page.goto(f"{live_server.url}/runs/{run.pk}/")
    expect(page.get_by_role("slider", name="The sweep starts at")).to_be_visible()
    expect(page.get_by_role("button", name="Save as PNG").first).to_be_visible()
    assert_hashed(scripts, "charts", "chart_limits", "chart_parts", "chart_save", "numbers", "runs_sweep")
