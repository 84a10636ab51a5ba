"""Rejected forms show their errors, fit a phone and are accessible in light and dark mode."""

from typing import Any

from playwright.sync_api import Page, expect

from tests.browser.steps import find_accessibility_faults, fits_window
from tests.test_access import Records, address
from workshop.models import Role

COLOURS = ("color-contrast",)
# One form per kind of record, per way of building fields and per page with several forms.
FORMS = (
    "job-book",
    "job-receive",
    "photo-add",
    "bike-new",
    "engine-new",
    "engine-import",
    "shim-stock-add",
    "slot-new",
    "working-hours",
    "shut-days-list",
    "shop-profile",
    "staff-new",
    "check-item-list",
    "clearances-new",
    "part-add",
    "tune-new",
    "throttle-add",
    "run-attach",
    "mixture-new",
    "suspension-new",
    "sheet-mail",
    "mail-setup",
    "mail-returned",
)
SPOIL = """form => {
  for (const field of form.querySelectorAll("input, textarea, select")) {
    if (field.type === "hidden" || field.disabled) continue;
    if (field.inputMode === "decimal") field.value = "twelve";
    else if (["checkbox", "radio"].includes(field.type)) field.checked = false;
    else if (field.querySelector("option[value='']")) field.value = "";
    else if (field.tagName === "SELECT") continue;
    else if (field.type !== "file") field.value = "";
  }
}"""


def test_rejected_forms_show_errors_and_are_accessible(
    log_in: Any, live_server: Any, people: dict[Role, Any]
) -> None:
    records = Records(people)
    page: Page = log_in(Role.OWNER)
    problems = []
    for name in FORMS:
        page.emulate_media(color_scheme="light")
        page.set_viewport_size({"width": 390, "height": 900})
        page.goto(live_server.url + address(name, records))
        form = page.locator("main form[method=post]:not(.remove)").first
        form.evaluate(SPOIL)
        with page.expect_navigation() as sent:
            # Submit without the browser's own validation.
            form.evaluate("form => HTMLFormElement.prototype.submit.call(form)")
        if sent.value.status != 422:
            problems.append(f"{name}: answered {sent.value.status}")
            continue
        expect(page.locator("main")).to_be_visible()
        if not page.get_by_role("alert").count():
            problems.append(f"{name}: no error summary")
        if not fits_window(page):
            problems.append(f"{name}: wider than a phone")
        problems += [f"{name}: {fault}" for fault in find_accessibility_faults(page)]
        page.emulate_media(color_scheme="dark")
        problems += [f"{name}, in the dark: {fault}" for fault in find_accessibility_faults(page, COLOURS)]
    assert not problems, "\n".join(problems)
