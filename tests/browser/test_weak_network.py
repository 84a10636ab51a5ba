"""The network drops, a log-in runs out, a finger is too quick, two people type at once: nothing is lost."""

from collections.abc import Callable

from playwright.sync_api import BrowserContext, Page, Route, expect

from jobs.models import Job
from tests import factories
from tests.browser.conftest import PASSWORD
from tests.browser.steps import assert_accessible, assert_told, follow, region, row, textbox
from workshop.models import Customer, Role

LogIn = Callable[[Role], Page]
NewTab = Callable[[], Page]
BRIEF = "What the customer asks for*"
KEPT = "Kept in this browser, not yet sent"
TYPED = "Smoother pick-up, and look at the front brake"


def type_brief(page: Page, job: Job) -> str:
    """Change a job's brief and leave it unsaved; returns the address of its form."""
    page.goto(page.url + job.get_absolute_url().lstrip("/"))
    follow(page.get_by_role("link", name="Edit job"))
    textbox(page, BRIEF).fill(TYPED)
    return page.url


def typed_before_the_script(page: Page, address: str, field: str, text: str) -> None:
    """Type into a page whose script that keeps what is typed is still on its way, and let it come."""
    held: list[Route] = []
    page.route("**/drafts*.js", lambda route: held.append(route))
    page.goto(address, wait_until="commit")
    textbox(page, field).fill(text)
    assert len(held) == 1
    with page.expect_event("load"):
        held[0].continue_()
    page.unroute_all()


def log_in_here(page: Page, role: Role) -> None:
    """Fill in the log-in form that the browser was led to."""
    expect(page.get_by_role("heading", name="Log in")).to_be_visible()
    page.get_by_label("Username").fill(role.value)
    page.get_by_label("Password").fill(PASSWORD)
    follow(page.get_by_role("button", name="Log in"))


def end_session(context: BrowserContext) -> None:
    """As when the time of a log-in is over: its cookie no longer says who this is."""
    context.clear_cookies(name="sessionid")


def test_what_is_saved_offline_is_kept_offered_and_sent(
    log_in: LogIn, new_tab: NewTab, context: BrowserContext
) -> None:
    job = factories.make_job()
    page = log_in(Role.DESK)
    address = type_brief(page, job)
    context.set_offline(True)
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("Not sent: no network. Kept in this browser")).to_be_visible()
    expect(textbox(page, BRIEF)).to_have_value(TYPED)
    page.close()

    context.set_offline(False)
    page = new_tab()
    page.goto(address)
    expect(page.get_by_text("was kept in this browser and not yet sent")).to_be_visible()
    expect(textbox(page, BRIEF)).to_have_value(job.brief)
    page.get_by_role("button", name="Put back what was typed").click()
    expect(textbox(page, BRIEF)).to_have_value(TYPED)
    assert_accessible(page)
    follow(page.get_by_role("button", name="Save"))
    expect(region(page, "Brief and receipt")).to_contain_text(TYPED)

    # What has arrived is offered no more.
    page.goto(address)
    expect(textbox(page, BRIEF)).to_have_value(TYPED)
    expect(page.get_by_role("button", name="Put back what was typed")).to_have_count(0)


def test_what_was_kept_can_be_thrown_away(log_in: LogIn) -> None:
    job = factories.make_job()
    page = log_in(Role.DESK)
    address = type_brief(page, job)
    page.goto(address)
    page.get_by_role("button", name="Throw away").click()
    expect(page.get_by_role("button", name="Throw away")).to_have_count(0)
    page.goto(address)
    expect(textbox(page, BRIEF)).to_have_value(job.brief)
    expect(page.get_by_role("button", name="Put back what was typed")).to_have_count(0)


def test_what_was_typed_before_the_script_came_is_kept(log_in: LogIn, new_tab: NewTab) -> None:
    job = factories.make_job()
    page = log_in(Role.DESK)
    address = f"{page.url}jobs/{job.number}/edit/"
    typed_before_the_script(page, address, BRIEF, TYPED)
    expect(page.get_by_text(KEPT)).to_be_visible()
    page.close()

    page = new_tab()
    page.goto(address)
    expect(textbox(page, BRIEF)).to_have_value(job.brief)
    page.get_by_role("button", name="Put back what was typed").click()
    expect(textbox(page, BRIEF)).to_have_value(TYPED)


def test_what_was_typed_before_the_script_came_does_not_go_over_what_waits(log_in: LogIn) -> None:
    job = factories.make_job()
    page = log_in(Role.DESK)
    address = type_brief(page, job)
    typed_before_the_script(page, address, "Authorised up to", "380")
    page.goto(address)  # nothing more was typed: the older draft is whole
    page.get_by_role("button", name="Put back what was typed").click()
    expect(textbox(page, BRIEF)).to_have_value(TYPED)
    typed_before_the_script(page, address, "Authorised up to", "380")
    page.get_by_role("button", name="Put back what was typed").click()
    expect(textbox(page, BRIEF)).to_have_value(TYPED)
    expect(textbox(page, "Authorised up to")).to_have_value("380")


def test_what_the_browser_or_the_server_filled_in_was_not_typed(log_in: LogIn) -> None:
    job = factories.make_job()
    page = log_in(Role.DESK)
    address = type_brief(page, job)
    follow(page.get_by_role("button", name="Save"))
    expect(region(page, "Brief and receipt")).to_contain_text(TYPED)
    Job.objects.update(brief="Now in other words")
    with page.expect_event("load"):
        page.go_back()
    expect(textbox(page, BRIEF)).to_have_value(TYPED)  # put back by the browser, and saved long since
    expect(page.get_by_text(KEPT)).to_have_count(0)
    page.goto(address)
    expect(textbox(page, BRIEF)).to_have_value("Now in other words")
    expect(page.get_by_text(KEPT)).to_have_count(0)
    expect(page.get_by_role("button", name="Put back what was typed")).to_have_count(0)


def test_words_altered_after_an_answer_was_lost_are_sent_as_new_ones(
    log_in: LogIn, new_tab: NewTab, context: BrowserContext, faults: list[str]
) -> None:
    page = log_in(Role.DESK)
    address = f"{page.url}customers/new/"
    page.goto(address)
    textbox(page, "Name*").fill("Ines Quill")

    def lose_answer(route: Route) -> None:
        route.fetch(max_redirects=0)
        route.abort()

    page.route(address, lose_answer)
    page.get_by_role("button", name="Save").click()
    page.wait_for_url("chrome-error://**")
    page.close()
    assert Customer.objects.get().name == "Ines Quill"
    context.clear_cookies(name="messages")  # it was in the answer

    page = new_tab()
    page.goto(address)
    page.get_by_role("button", name="Put back what was typed").click()
    expect(textbox(page, "Name*")).to_have_value("Ines Quill")
    textbox(page, "Name*").press_sequentially(" junior")
    follow(page.get_by_role("button", name="Save"))
    assert_told(page, "saved")
    assert {each.name for each in Customer.objects.all()} == {"Ines Quill", "Ines Quill junior"}
    faults.clear()  # the console names the answer that was lost


def test_a_log_in_that_ran_out_brings_back_to_what_was_typed(log_in: LogIn, context: BrowserContext) -> None:
    job = factories.make_job()
    page = log_in(Role.DESK)
    address = type_brief(page, job)
    end_session(context)
    follow(page.get_by_role("button", name="Save"))
    log_in_here(page, Role.DESK)
    page.wait_for_url(address)
    expect(page.get_by_text("put back")).to_be_visible()
    expect(textbox(page, BRIEF)).to_have_value(TYPED)
    follow(page.get_by_role("button", name="Save"))
    expect(region(page, "Brief and receipt")).to_contain_text(TYPED)


def test_a_log_in_that_ran_out_under_a_part_of_a_page_is_asked_for_with_the_whole_page(
    log_in: LogIn, context: BrowserContext
) -> None:
    job = factories.make_job()
    page = log_in(Role.MECHANIC)
    follow(page.get_by_role("link", name=job.number))
    follow(page.get_by_role("link", name="Open the checks"))
    address = page.url
    end_session(context)
    follow(page.get_by_role("button", name="tick").first)
    log_in_here(page, Role.MECHANIC)
    page.wait_for_url(address)
    expect(page.get_by_role("heading", name="Checks")).to_be_visible()
    expect(page.get_by_role("banner")).to_have_count(1)


def test_a_log_in_that_ran_out_while_moving_a_job_leads_back_to_the_job(
    log_in: LogIn, context: BrowserContext
) -> None:
    job = factories.make_job()
    page = log_in(Role.DESK)
    follow(page.get_by_role("link", name=job.number))
    page.get_by_text("Move to another stage").click()
    page.get_by_role("combobox", name="Move to").select_option("received")
    page.get_by_label("Why").fill("Came a day early")
    end_session(context)
    follow(page.get_by_role("button", name="Move"))
    log_in_here(page, Role.DESK)
    expect(page.get_by_role("heading", name=f"Job {job.number}")).to_be_visible()
    expect(page.get_by_label("Why")).to_be_visible()
    expect(page.get_by_label("Why")).to_have_value("Came a day early")


def test_a_double_click_books_once_and_so_does_the_same_sending_twice(log_in: LogIn) -> None:
    factories.make_bike(plate="DEMO 74")
    page = log_in(Role.DESK)
    follow(page.get_by_role("link", name="Book a job").first)
    page.get_by_role("searchbox", name="Plate, VIN, make or owner").press_sequentially("demo 74")
    expect(page.get_by_role("radio", name="DEMO 74")).to_be_checked()
    textbox(page, "What the customer asks for*").fill("Valves")
    page.get_by_label("Intended use").select_option("road")
    with page.expect_request(lambda request: request.method == "POST") as sending, page.expect_navigation():
        page.get_by_role("button", name="Book", exact=True).dblclick()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Job ")
    assert Job.objects.count() == 1

    # The button is not what keeps it at one: the server is sent the same words again.
    sent = sending.value
    again = page.context.request.post(
        sent.url, data=sent.post_data, headers={"content-type": sent.headers["content-type"]}
    )
    assert again.ok
    assert again.url == page.url
    assert Job.objects.count() == 1


def test_the_second_of_two_tabs_is_told_and_keeps_its_typing(log_in: LogIn, new_tab: NewTab) -> None:
    customer = factories.make_customer(phone="+00 555 0101", email="ines@example.org")
    first = log_in(Role.DESK)
    follow(first.get_by_role("link", name="Customers", exact=True))
    follow(first.get_by_role("link", name=customer.name))
    follow(first.get_by_role("link", name="Edit"))
    second = new_tab()
    second.goto(first.url)

    textbox(first, "Phone").fill("+00 555 0199")
    textbox(first, "Note").fill("Call after six")
    follow(first.get_by_role("button", name="Save"))
    assert_told(first, "saved")
    textbox(second, "Note").fill("Has a second key")
    follow(second.get_by_role("button", name="Save"))

    alert = second.get_by_role("alert")
    expect(alert).to_contain_text("Dana Desk changed this")
    expect(row(alert, "note").get_by_role("cell")).to_have_text(["Call after six", "Has a second key"])
    expect(textbox(second, "Note")).to_have_value("Has a second key")
    assert_accessible(second)
    follow(second.get_by_role("button", name="Save"))
    assert_told(second, "saved")
    stored = Customer.objects.get()
    assert (stored.phone, stored.note) == ("+00 555 0199", "Has a second key")


def test_two_tabs_of_one_job_change_different_fields(log_in: LogIn, new_tab: NewTab) -> None:
    job = factories.make_job()
    first = log_in(Role.DESK)
    follow(first.get_by_role("link", name=job.number))
    follow(first.get_by_role("link", name="Edit job"))
    second = new_tab()
    second.goto(first.url)
    first.get_by_label("Mechanic").select_option("Mika Mechanic")
    follow(first.get_by_role("button", name="Save"))
    expect(first.get_by_role("heading", name=f"Job {job.number}")).to_be_visible()
    textbox(second, "Authorised up to").fill("380,00")
    follow(second.get_by_role("button", name="Save"))
    expect(second.get_by_role("alert")).to_contain_text("Dana Desk changed this")
    expect(textbox(second, "Authorised up to")).to_have_value("380,00")
    follow(second.get_by_role("button", name="Save"))
    expect(second.get_by_text("Mika Mechanic (mechanic)")).to_be_visible()
    expect(region(second, "Brief and receipt")).to_contain_text("380.00")
