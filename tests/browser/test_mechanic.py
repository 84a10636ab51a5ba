"""At the bench: clearances as found, the shims they need, as left; parts and checks."""

from collections.abc import Callable

from playwright.sync_api import Locator, Page, expect

from fixtures.demo_shop import make_engines
from jobs.models import Job
from tests import factories
from tests.browser.steps import assert_accessible, assert_told, enter_leads_on, follow, region, row, textbox
from workshop.models import Bike, Role, ShimStock

LogIn = Callable[[Role], Page]

# In the order of the boxes: a cylinder's exhaust valves, which face the front, then its intake valves.
AS_FOUND = ["0,22", "0.31", "0,08", "0.16", "0.37", "0.27", "0.15", "0.12", "0.31", "0.31", "0.18", "0.23"]
QUICK_HAND_MS = 25
AS_LEFT = ["0.32", "0.31", "0.18", "0.16", "0.32", "0.27", "0.15", "0.12", "0.31", "0.31", "0.18", "0.18"]


def open_entry(page: Page, job: Job, when: str) -> None:
    follow(page.get_by_role("link", name="Jobs", exact=True))
    follow(page.get_by_role("link", name=job.number))
    follow(page.get_by_role("link", name=f"Measure {when}"))
    textbox(page, "Engine temperature (°C)*").fill("21")


def type_row_of(page: Page, first: Locator, texts: list[str]) -> None:
    """Type figures one after the other, as fast as a hand can; the page goes on to the next box."""
    first.click()
    for text in texts:
        page.keyboard.type(text, delay=QUICK_HAND_MS)


def judged(page: Page, valve: str) -> Locator:
    return row(page.get_by_role("table", name="Readings by valve"), valve)


def save(page: Page) -> None:
    follow(page.get_by_role("button", name="Save clearances"))


def test_clearances_of_a_triple_from_found_to_left(log_in: LogIn) -> None:
    job = factories.make_job()
    drawer = ShimStock.objects.create(diameter_mm="7.48", thickness_mm="2.40", count=3)
    page = log_in(Role.MECHANIC)
    open_entry(page, job, "as found")
    first = textbox(page, "cylinder 1, exhaust left")
    type_row_of(page, first, AS_FOUND)
    expect(page.get_by_text("12 of 12 entered, 4 out of range")).to_be_visible()
    one = page.get_by_role("group", name="Cylinder 1")
    expect(one.get_by_text("below range")).to_have_count(2)
    expect(one.get_by_text("on target")).to_have_count(2)
    expect(page.get_by_role("group", name="Cylinder 2").get_by_text("in range, off target")).to_have_count(2)
    expect(page.get_by_role("group", name="Cylinder 3").get_by_text("above range")).to_have_count(1)

    # The last clearance led on to the first shim, as it is marked; Enter leaves "measured" empty.
    expect(textbox(page, "cylinder 1, exhaust left: shim fitted, as marked")).to_be_focused()
    for _ in AS_FOUND:
        page.keyboard.type("250")
        page.keyboard.press("Enter")
        page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Save clearances")).to_be_focused()
    enter_leads_on(page)

    assert_told(page, "Clearances as found saved.")
    # Fitted 2.50, found 0.22, wanted 0.31: 2.41 would be right, 2.40 is made and gives 0.32.
    expect(judged(page, "Cylinder 1, exhaust left")).to_contain_text("below range")
    expect(judged(page, "Cylinder 1, exhaust left")).to_contain_text("2.40 mm → 0.32 mm")
    # 2.50 + 0.08 - 0.16 = 2.42: 2.40 gives 0.18. 2.50 + 0.37 - 0.31 = 2.56: 2.55 gives 0.32.
    expect(judged(page, "Cylinder 1, intake left")).to_contain_text("2.40 mm → 0.18 mm")
    expect(judged(page, "Cylinder 2, exhaust left")).to_contain_text("above range")
    expect(judged(page, "Cylinder 2, exhaust left")).to_contain_text("2.55 mm → 0.32 mm")
    expect(judged(page, "Cylinder 3, exhaust left")).to_contain_text("stays")
    assert_accessible(page)

    follow(page.get_by_role("link", name="Plan shims"))
    for policy in ("Closest to the blueprint target", "Fewest shims to buy", "Fewest camshafts lifted"):
        expect(region(page, policy)).to_be_visible()
    fewest = region(page, "Fewest shims to buy")
    planned = row(fewest, "Cylinder 1, exhaust left").get_by_role("cell")
    expect(planned).to_have_text(["2.50 mm", "2.40 mm", "0.32 mm"])
    assert_accessible(page)
    follow(fewest.get_by_role("button", name="Accept"))
    assert_told(page, "Shim plan accepted")
    drawer.refresh_from_db()
    assert drawer.count == 1  # two of the three were the right ones

    follow(page.get_by_role("link", name="Measure as left"))
    textbox(page, "Engine temperature (°C)*").fill("21")
    type_row_of(page, first, AS_LEFT)
    save(page)
    assert_told(page, "Clearances as left saved.")
    follow(page.get_by_role("link", name=f"Job {job.number}"))
    both = page.get_by_role("table", name="As found and as left")
    expect(row(both, "Cylinder 1, exhaust left")).to_contain_text("0.22 mm below range")
    expect(row(both, "Cylinder 1, exhaust left")).to_contain_text("0.32 mm on target")
    expect(region(page, "Valve clearances").get_by_text("below range")).to_have_count(2)


def test_a_reading_between_two_blades(log_in: LogIn) -> None:
    page = log_in(Role.MECHANIC)
    open_entry(page, factories.make_job(), "as found")
    first = textbox(page, "cylinder 1, exhaust left")
    type_row_of(page, first, ["0.30"])
    expect(textbox(page, "cylinder 1, exhaust right")).to_be_focused()
    # A dash after moving on belongs to the figure before it.
    page.keyboard.type("-0.32")
    expect(first).to_have_value("0.30-0.32")
    page.keyboard.press("Enter")
    page.keyboard.type("0.24-0.26")
    expect(page.get_by_role("group", name="Cylinder 1").get_by_text("cannot tell")).to_be_visible()
    save(page)
    expect(judged(page, "Cylinder 1, exhaust left")).to_contain_text("0.30 to 0.32 mm on target")
    expect(judged(page, "Cylinder 1, exhaust right")).to_contain_text("cannot tell")
    expect(judged(page, "Cylinder 3, intake right")).to_contain_text("not measured")


def test_a_box_passed_over_is_named_before_saving(log_in: LogIn) -> None:
    page = log_in(Role.MECHANIC)
    open_entry(page, factories.make_job(), "as found")
    type_row_of(page, textbox(page, "cylinder 1, exhaust left"), AS_LEFT[:2])
    message = page.locator("[data-bench-count]")
    expect(message).to_have_text("2 of 12 entered")  # what is still to come is not passed over
    page.keyboard.press("Enter")
    page.keyboard.type(AS_LEFT[3])
    expect(message).to_have_text("3 of 12 entered, passed over: cylinder 1, intake left")
    page.get_by_label("Moves on").select_option(value="side")
    expect(message).to_have_text(
        "3 of 12 entered, passed over: cylinder 1, intake left; cylinder 2, intake left; "
        "cylinder 2, intake right and 2 more"
    )
    textbox(page, "cylinder 1, intake left").fill("0,15")
    page.get_by_label("Moves on").select_option(value="cylinder")
    expect(message).to_have_text("4 of 12 entered")


def test_what_cannot_be_a_clearance_is_asked_about_and_kept(log_in: LogIn) -> None:
    page = log_in(Role.MECHANIC)
    open_entry(page, factories.make_job(), "as found")
    textbox(page, "cylinder 1, exhaust left").fill("o.22")
    textbox(page, "cylinder 1, exhaust right").fill("31")
    textbox(page, "cylinder 1, intake left").fill("0,12")
    save(page)
    message = page.get_by_role("alert")
    expect(message.get_by_role("link", name="cylinder 1, exhaust left")).to_be_visible()
    expect(message.get_by_role("link", name="cylinder 1, exhaust right")).to_be_visible()
    message.get_by_role("link", name="cylinder 1, exhaust left").click()
    expect(textbox(page, "cylinder 1, exhaust left")).to_have_value("o.22")
    expect(textbox(page, "cylinder 1, exhaust right")).to_have_value("31")
    expect(textbox(page, "cylinder 1, intake left")).to_have_value("0,12")
    assert_accessible(page)


def job_with(engine: str) -> Job:
    spec = make_engines()[engine]
    owner = factories.make_customer()
    bike = Bike.objects.create(owner=owner, make=spec.maker, model=spec.name, engine_spec=spec)
    return factories.make_job(bike=bike)


def test_clearances_of_a_single_with_screws(log_in: LogIn) -> None:
    page = log_in(Role.MECHANIC)
    open_entry(page, job_with("marl"), "as found")
    type_row_of(page, textbox(page, "cylinder 1, exhaust left"), ["0.21", "0.16", "0.06", "0.10"])
    expect(page.get_by_text("4 of 4 entered, 2 out of range")).to_be_visible()
    expect(page.get_by_role("button", name="Save clearances")).to_be_focused()
    enter_leads_on(page)
    # A screw of 0.5 mm pitch: 0.05 mm too much is a tenth of a turn in, 0.04 mm too little 0.08 out.
    expect(judged(page, "Cylinder 1, exhaust left")).to_contain_text("0.10 turn in")
    expect(judged(page, "Cylinder 1, intake left")).to_contain_text("0.08 turn out")
    expect(judged(page, "Cylinder 1, intake right")).to_contain_text("on target")
    expect(page.get_by_role("link", name="Plan shims")).to_have_count(0)


def test_clearances_of_a_twin_that_closes_its_valves_by_force(log_in: LogIn) -> None:
    page = log_in(Role.MECHANIC)
    open_entry(page, job_with("lodra"), "as found")
    expect(page.get_by_text("front bank")).to_be_visible()
    for cylinder in ("1", "2"):
        for valve in ("exhaust left", "exhaust right", "intake left", "intake right"):
            textbox(page, f"cylinder {cylinder}, {valve}, opening").fill("0.13")
            textbox(page, f"cylinder {cylinder}, {valve}, closing").fill("0,03")
    closing = textbox(page, "cylinder 2, intake left, closing")
    closing.fill("0.09")
    textbox(page, "cylinder 2, intake left, closing: shim fitted, as marked").fill("5.30")
    expect(page.get_by_text("16 of 16 entered, 1 out of range")).to_be_visible()
    save(page)
    expect(judged(page, "Cylinder 2, intake left, opening")).to_contain_text("on target")
    expect(judged(page, "Cylinder 2, intake left, closing")).to_contain_text("above range")
    # The closing gap is what the closing shim leaves: 0.06 mm thicker brings 0.09 down to 0.03.
    expect(judged(page, "Cylinder 2, intake left, closing")).to_contain_text("5.36 mm → 0.03 mm")


def test_lists_a_part_that_is_for_racing_only(log_in: LogIn) -> None:
    job = factories.make_job()
    page = log_in(Role.MECHANIC)
    follow(page.get_by_role("link", name=job.number))
    follow(page.get_by_role("link", name="Add a part"))
    textbox(page, "Name*").fill("Slip-on silencer")
    textbox(page, "Maker").fill("Ostrel")
    textbox(page, "Fitted in place of").fill("the maker's silencer")
    page.get_by_label("Race use only").check()
    page.get_by_label("Changes the exhaust").check()
    follow(page.get_by_role("button", name="Save"))
    listed = region(page, "Parts").get_by_role("row").filter(has_text="Slip-on silencer")
    expect(listed).to_contain_text("race use only")
    expect(listed).to_contain_text("in place of the maker's silencer")
    assert_accessible(page)


def test_ticks_the_checks(log_in: LogIn) -> None:
    job = factories.make_job()
    page = log_in(Role.MECHANIC)
    follow(page.get_by_role("link", name=job.number))
    follow(page.get_by_role("link", name="Open the checks"))
    before = region(page, "Before handover")
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
