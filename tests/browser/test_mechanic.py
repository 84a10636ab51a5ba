"""The mechanic: clearances as found, shims, clearances as left, parts and checks."""

from collections.abc import Callable

from playwright.sync_api import Locator, Page, expect

from fixtures.demo_shop import make_engines
from jobs.models import Job
from tests import factories
from tests.browser.steps import (
    assert_accessible,
    assert_message,
    follow,
    get_region,
    get_row,
    get_textbox,
    press_enter_to_navigate,
)
from workshop.models import Bike, Role, ShimStock

LogIn = Callable[[Role], Page]

# In entry order: the exhaust valves of a cylinder at the front, then its intake valves.
AS_FOUND = ["0,22", "0.31", "0,08", "0.16", "0.37", "0.27", "0.15", "0.12", "0.31", "0.31", "0.18", "0.23"]
QUICK_HAND_MS = 25
AS_LEFT = ["0.32", "0.31", "0.18", "0.16", "0.32", "0.27", "0.15", "0.12", "0.31", "0.31", "0.18", "0.18"]


def open_entry(page: Page, job: Job, when: str) -> None:
    follow(page.get_by_role("link", name="Jobs", exact=True))
    follow(page.get_by_role("link", name=job.number, exact=True))
    page.locator("#line-clearances").click()
    follow(page.get_by_role("link", name=f"Measure {when}"))
    get_textbox(page, "Engine temperature (°C)*").fill("21")


def type_readings(page: Page, first: Locator, texts: list[str]) -> None:
    """Type readings as fast as a person can; the page moves the focus to the next box."""
    first.click()
    for text in texts:
        page.keyboard.type(text, delay=QUICK_HAND_MS)


def get_reading_row(page: Page, valve: str) -> Locator:
    return get_row(page.get_by_role("table", name="Readings by valve"), valve)


def save(page: Page) -> None:
    follow(page.get_by_role("button", name="Save clearances"))


def test_triple_is_measured_shimmed_and_measured_again(log_in: LogIn) -> None:
    job = factories.make_job()
    stock = ShimStock.objects.create(diameter_mm="7.48", thickness_mm="2.40", count=3)
    page = log_in(Role.MECHANIC)
    open_entry(page, job, "as found")
    first = get_textbox(page, "cylinder 1, exhaust left")
    type_readings(page, first, AS_FOUND)
    expect(page.get_by_text("12 of 12 measured, 2 tight, 2 loose")).to_be_visible()
    one = page.get_by_role("group", name="Cylinder 1")
    expect(one.get_by_text("tight")).to_have_count(2)
    expect(one.get_by_text("on target")).to_have_count(2)
    expect(page.get_by_role("group", name="Cylinder 2").get_by_text("in range, off target")).to_have_count(2)
    expect(page.get_by_role("group", name="Cylinder 3").get_by_text("loose")).to_have_count(1)

    # After the last clearance Enter goes to the first shim marking, and from marking to marking.
    page.keyboard.press("Enter")
    expect(get_textbox(page, "cylinder 1, exhaust left: shim fitted, as marked")).to_be_focused()
    for _ in AS_FOUND:
        page.keyboard.type("250")
        page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Save clearances")).to_be_focused()
    press_enter_to_navigate(page)

    assert_message(page, "Clearances as found saved: 12 of 12.")
    # Fitted 2.50, found 0.22, target 0.31: 2.41 would be exact, 2.40 is available and gives 0.32.
    expect(get_reading_row(page, "Cylinder 1, exhaust left")).to_contain_text("tight")
    expect(get_reading_row(page, "Cylinder 1, exhaust left")).to_contain_text("2.40 mm → 0.32 mm")
    # 2.50 + 0.08 - 0.16 = 2.42: 2.40 gives 0.18. 2.50 + 0.37 - 0.31 = 2.56: 2.55 gives 0.32.
    expect(get_reading_row(page, "Cylinder 1, intake left")).to_contain_text("2.40 mm → 0.18 mm")
    expect(get_reading_row(page, "Cylinder 2, exhaust left")).to_contain_text("loose")
    expect(get_reading_row(page, "Cylinder 2, exhaust left")).to_contain_text("2.55 mm → 0.32 mm")
    expect(get_reading_row(page, "Cylinder 3, exhaust left")).to_contain_text("stays")
    assert_accessible(page)

    follow(page.get_by_role("link", name="Plan shims"))
    plans = get_region(page, "Plans to choose from")
    for policy in ("Closest to target", "Fewest shims to buy", "Fewest camshafts removed"):
        expect(plans.get_by_text(policy, exact=True)).to_be_visible()
    follow(plans.get_by_role("link", name="Fewest shims to buy"))
    expect(get_region(page, "Fewest shims to buy")).to_be_visible()
    planned = get_row(
        get_region(page, "Every valve, with the reason"), "Cylinder 1, exhaust left"
    ).get_by_role("cell")
    expect(planned.filter(has_text="mm").nth(0)).to_have_text("2.50 mm")
    expect(planned.filter(has_text="mm").nth(1)).to_have_text("2.40 mm")
    expect(planned.filter(has_text="mm").nth(2)).to_have_text("0.32 mm")
    assert_accessible(page)
    follow(page.get_by_role("button", name="Accept plan"))
    assert_message(page, "Shim plan accepted")
    stock.refresh_from_db()
    assert stock.count == 1  # the plan takes two of the three

    follow(page.get_by_role("link", name="Measure as left"))
    get_textbox(page, "Engine temperature (°C)*").fill("21")
    type_readings(page, first, AS_LEFT)
    save(page)
    assert_message(page, "Clearances as left saved: 12 of 12.")
    follow(page.get_by_role("link", name=f"Job {job.number}"))
    page.goto(f"{page.url.partition('#')[0]}?open=clearances")
    page.get_by_text("Table of all valves").click()
    comparison = page.get_by_role("table", name="As found and as left")
    expect(get_row(comparison, "Cylinder 1, exhaust left")).to_contain_text("0.22 mm tight")
    expect(get_row(comparison, "Cylinder 1, exhaust left")).to_contain_text("0.32 mm on target")
    expect(get_region(page, "Valve clearances").get_by_text("tight")).to_have_count(2)


def test_reading_between_two_blades_is_judged_as_a_range(log_in: LogIn) -> None:
    page = log_in(Role.MECHANIC)
    open_entry(page, factories.make_job(), "as found")
    first = get_textbox(page, "cylinder 1, exhaust left")
    type_readings(page, first, ["0.30"])
    expect(get_textbox(page, "cylinder 1, exhaust right")).to_be_focused()
    # A dash typed after the focus moved on belongs to the number before.
    page.keyboard.type("-0.32")
    expect(first).to_have_value("0.30-0.32")
    page.keyboard.press("Enter")
    page.keyboard.type("0.24-0.26")
    expect(page.get_by_role("group", name="Cylinder 1").get_by_text("not certain")).to_be_visible()
    save(page)
    expect(get_reading_row(page, "Cylinder 1, exhaust left")).to_contain_text("0.30 to 0.32 mm on target")
    expect(get_reading_row(page, "Cylinder 1, exhaust right")).to_contain_text("not certain")
    expect(get_reading_row(page, "Cylinder 3, intake right")).to_contain_text("not measured")


def test_skipped_box_is_named_before_saving(log_in: LogIn) -> None:
    page = log_in(Role.MECHANIC)
    open_entry(page, factories.make_job(), "as found")
    type_readings(page, get_textbox(page, "cylinder 1, exhaust left"), AS_LEFT[:2])
    message = page.locator("[data-bench-passed]")
    expect(message).to_be_empty()  # boxes not reached yet are not skipped
    page.keyboard.press("Enter")  # ends the number, whose box has moved on already
    page.keyboard.press("Enter")
    page.keyboard.type(AS_LEFT[3])
    expect(message).to_have_text("1 valve skipped: cylinder 1, intake left")
    page.get_by_label("Order of entry").select_option(value="side")
    expect(message).to_have_text(
        "5 valves skipped: cylinder 1, intake left; cylinder 2, intake left; "
        "cylinder 2, intake right and 2 more"
    )
    get_textbox(page, "cylinder 1, intake left").fill("0,15")
    page.get_by_label("Order of entry").select_option(value="cylinder")
    expect(message).to_be_empty()
    expect(page.locator("[data-bench-count]")).to_have_text("4 of 12 measured")


def test_invalid_clearance_shows_error_and_is_preserved(log_in: LogIn) -> None:
    page = log_in(Role.MECHANIC)
    open_entry(page, factories.make_job(), "as found")
    get_textbox(page, "cylinder 1, exhaust left").fill("o.22")
    get_textbox(page, "cylinder 1, exhaust right").fill("31")
    get_textbox(page, "cylinder 1, intake left").fill("0,12")
    save(page)
    message = page.get_by_role("alert")
    expect(message.get_by_role("link", name="cylinder 1, exhaust left")).to_be_visible()
    expect(message.get_by_role("link", name="cylinder 1, exhaust right")).to_be_visible()
    message.get_by_role("link", name="cylinder 1, exhaust left").click()
    expect(get_textbox(page, "cylinder 1, exhaust left")).to_have_value("o.22")
    expect(get_textbox(page, "cylinder 1, exhaust right")).to_have_value("31")
    expect(get_textbox(page, "cylinder 1, intake left")).to_have_value("0,12")
    assert_accessible(page)


def job_with(engine: str) -> Job:
    spec = make_engines()[engine]
    owner = factories.make_customer()
    bike = Bike.objects.create(owner=owner, make=spec.maker, model=spec.name, engine_spec=spec)
    return factories.make_job(bike=bike)


def test_single_with_screws_shows_turns_to_set(log_in: LogIn) -> None:
    page = log_in(Role.MECHANIC)
    open_entry(page, job_with("marl"), "as found")
    type_readings(page, get_textbox(page, "cylinder 1, exhaust left"), ["0.21", "0.16", "0.06", "0.10"])
    expect(page.get_by_text("4 of 4 measured, 1 tight, 1 loose")).to_be_visible()
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Save clearances")).to_be_focused()
    press_enter_to_navigate(page)
    # Screw pitch 0.5 mm: 0.05 mm too loose is 0.1 turn in, 0.04 mm too tight is 0.08 turn out.
    expect(get_reading_row(page, "Cylinder 1, exhaust left")).to_contain_text("0.10 turn in")
    expect(get_reading_row(page, "Cylinder 1, intake left")).to_contain_text("0.08 turn out")
    expect(get_reading_row(page, "Cylinder 1, intake right")).to_contain_text("on target")
    expect(page.get_by_role("link", name="Plan shims")).to_have_count(0)


def test_desmodromic_twin_shows_closing_shim_to_fit(log_in: LogIn) -> None:
    page = log_in(Role.MECHANIC)
    open_entry(page, job_with("lodra"), "as found")
    expect(page.get_by_text("front head")).to_be_visible()
    for cylinder in ("1", "2"):
        for valve in ("exhaust left", "exhaust right", "intake left", "intake right"):
            get_textbox(page, f"cylinder {cylinder}, {valve}, opening").fill("0.13")
            get_textbox(page, f"cylinder {cylinder}, {valve}, closing").fill("0,03")
    closing = get_textbox(page, "cylinder 2, intake left, closing")
    closing.fill("0.09")
    page.get_by_role("button", name="Shims").click()
    get_textbox(page, "cylinder 2, intake left, closing: shim fitted, as marked").fill("5.30")
    expect(page.get_by_text("16 of 16 measured, 1 loose")).to_be_visible()
    save(page)
    expect(get_reading_row(page, "Cylinder 2, intake left, opening")).to_contain_text("on target")
    expect(get_reading_row(page, "Cylinder 2, intake left, closing")).to_contain_text("loose")
    # A thicker closing shim closes the gap: 0.06 mm more brings 0.09 down to 0.03.
    expect(get_reading_row(page, "Cylinder 2, intake left, closing")).to_contain_text("5.36 mm → 0.03 mm")


def test_race_only_part_is_listed(log_in: LogIn) -> None:
    job = factories.make_job()
    page = log_in(Role.MECHANIC)
    follow(page.locator(f"#bike-{job} .bike-name"))
    follow(get_region(page, "Parts").get_by_role("link", name="Add a part"))
    get_textbox(page, "Name*").fill("Slip-on silencer")
    get_textbox(page, "Maker").fill("Ostrel")
    get_textbox(page, "Replaces").fill("the maker's silencer")
    page.get_by_label("Race use only").check()
    page.get_by_label("Type").select_option("silencer (may affect road use)")
    follow(page.get_by_role("button", name="Save"))
    listed = get_region(page, "Parts").get_by_role("row").filter(has_text="Slip-on silencer")
    expect(listed).to_contain_text("race use only")
    expect(listed).to_contain_text("in place of the maker's silencer")
    assert_accessible(page)


def test_check_is_ticked_and_unticked_by_keyboard(log_in: LogIn) -> None:
    job = factories.make_job()
    page = log_in(Role.MECHANIC)
    follow(page.locator(f"#bike-{job} .bike-name"))
    follow(get_region(page, "Checks").get_by_role("link", name="Open the checks"))
    before = get_region(page, "Before handover")
    total = before.get_by_role("listitem").filter(has=page.get_by_role("button")).count()
    tick = before.get_by_role("button", name="tick").first
    tick.focus()
    page.keyboard.press("Enter")
    expect(before).to_contain_text(f"1 of {total} ticked")
    pressed = before.get_by_role("button", name="ticked")
    expect(pressed).to_have_attribute("aria-pressed", "true")
    expect(pressed).to_be_focused()
    expect(before).to_contain_text("Mika Mechanic")
    page.keyboard.press("Enter")
    expect(before).to_contain_text(f"0 of {total} ticked")
    assert_accessible(page)
