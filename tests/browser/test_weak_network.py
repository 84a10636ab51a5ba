"""Lost network, expired session, double click, edit conflict: no input is lost."""

from collections.abc import Callable

from playwright.sync_api import BrowserContext, Page, Route, expect

from jobs.models import Job
from tests import factories
from tests.browser.conftest import PASSWORD
from tests.browser.steps import assert_accessible, assert_message, follow, get_region, get_row, get_textbox
from workshop.models import Customer, Role

LogIn = Callable[[Role], Page]
NewTab = Callable[[], Page]
BRIEF = "Customer's request*"
KEPT = "Draft saved in this browser at"
TYPED = "Smoother pick-up, and look at the front brake"


def type_brief(page: Page, job: Job) -> str:
    """Change a job's brief without saving, and return the URL of its form."""
    page.goto(page.url + job.get_absolute_url().lstrip("/"))
    page.get_by_text("Edit and documents").click()
    follow(page.get_by_role("link", name="Edit job"))
    get_textbox(page, BRIEF).fill(TYPED)
    return page.url


def type_before_script_loads(page: Page, address: str, field: str, text: str) -> None:
    """Type into a page before the draft script has loaded, then let it load."""
    held: list[Route] = []
    page.route("**/drafts*.js", lambda route: held.append(route))
    page.goto(address, wait_until="commit")
    get_textbox(page, field).fill(text)
    assert len(held) == 1
    with page.expect_event("load"):
        held[0].continue_()
    page.unroute_all()


def submit_login(page: Page, role: Role) -> None:
    """Fill in and submit the login form that is shown."""
    expect(page.get_by_role("heading", name="Log in")).to_be_visible()
    page.get_by_label("Username").fill(role.value)
    page.get_by_label("Password").fill(PASSWORD)
    follow(page.get_by_role("button", name="Log in"))


def end_session(context: BrowserContext) -> None:
    """Delete the session cookie, as when a session has expired."""
    context.clear_cookies(name="sessionid")


def test_draft_saved_offline_is_offered_and_sent(
    log_in: LogIn, new_tab: NewTab, context: BrowserContext
) -> None:
    job = factories.make_job()
    page = log_in(Role.DESK)
    address = type_brief(page, job)
    context.set_offline(True)
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("You are offline. Draft saved in this browser.")).to_be_visible()
    expect(get_textbox(page, BRIEF)).to_have_value(TYPED)
    page.close()

    context.set_offline(False)
    page = new_tab()
    page.goto(address)
    expect(page.get_by_text("This browser has an unsaved draft of this form")).to_be_visible()
    expect(get_textbox(page, BRIEF)).to_have_value(job.brief)
    page.get_by_role("button", name="Restore draft").click()
    expect(get_textbox(page, BRIEF)).to_have_value(TYPED)
    assert_accessible(page)
    follow(page.get_by_role("button", name="Save"))
    expect(get_region(page, "Request and check-in")).to_contain_text(TYPED)

    # A draft that was saved is no longer offered.
    page.goto(address)
    expect(get_textbox(page, BRIEF)).to_have_value(TYPED)
    expect(page.get_by_role("button", name="Restore draft")).to_have_count(0)


def test_draft_can_be_discarded(log_in: LogIn) -> None:
    job = factories.make_job()
    page = log_in(Role.DESK)
    address = type_brief(page, job)
    page.goto(address)
    page.get_by_role("button", name="Delete draft").click()
    expect(page.get_by_role("button", name="Delete draft")).to_have_count(0)
    page.goto(address)
    expect(get_textbox(page, BRIEF)).to_have_value(job.brief)
    expect(page.get_by_role("button", name="Restore draft")).to_have_count(0)


def stored_texts(page: Page) -> str:
    """Return all that this tab and browser store."""
    text: str = page.evaluate("JSON.stringify([{ ...localStorage }, { ...sessionStorage }])")
    return text


def test_draft_is_not_offered_to_the_next_person(log_in: LogIn, context: BrowserContext) -> None:
    job = factories.make_job()
    page = log_in(Role.DESK)
    address = type_brief(page, job)
    end_session(context)
    follow(page.get_by_role("button", name="Save"))
    submit_login(page, Role.OWNER)
    page.wait_for_url(address)
    expect(get_textbox(page, BRIEF)).to_have_value(job.brief)
    expect(page.get_by_role("button", name="Restore draft")).to_have_count(0)
    log_in(Role.DESK)
    page.goto(address)
    page.get_by_role("button", name="Restore draft").click()
    expect(get_textbox(page, BRIEF)).to_have_value(TYPED)


def test_log_out_deletes_drafts_after_asking(log_in: LogIn) -> None:
    job = factories.make_job()
    page = log_in(Role.DESK)
    address = type_brief(page, job)
    assert TYPED in stored_texts(page)
    page.get_by_role("button", name="Dana Desk").click()
    page.get_by_role("button", name="Log out").click()
    expect(page.get_by_role("alert")).to_have_text(
        "One draft in this browser is not saved yet. Logging out deletes it."
    )
    assert_accessible(page)
    page.get_by_role("button", name="Stay").click()
    expect(get_textbox(page, BRIEF)).to_have_value(TYPED)
    assert TYPED in stored_texts(page)
    page.get_by_role("button", name="Dana Desk").click()
    page.get_by_role("button", name="Log out").click()
    follow(page.get_by_role("button", name="Log out and delete"))
    expect(page.get_by_role("heading", name="Log in")).to_be_visible()
    assert TYPED not in stored_texts(page)
    log_in(Role.DESK)
    page.goto(address)
    expect(get_textbox(page, BRIEF)).to_have_value(job.brief)


def test_text_typed_before_the_script_loads_is_saved_as_draft(log_in: LogIn, new_tab: NewTab) -> None:
    job = factories.make_job()
    page = log_in(Role.DESK)
    address = f"{page.url}jobs/{job.number}/edit/"
    type_before_script_loads(page, address, BRIEF, TYPED)
    expect(page.get_by_text(KEPT)).to_be_visible()
    page.close()

    page = new_tab()
    page.goto(address)
    expect(get_textbox(page, BRIEF)).to_have_value(job.brief)
    page.get_by_role("button", name="Restore draft").click()
    expect(get_textbox(page, BRIEF)).to_have_value(TYPED)


def test_text_typed_before_the_script_loads_is_added_to_the_draft(log_in: LogIn) -> None:
    job = factories.make_job()
    page = log_in(Role.DESK)
    address = type_brief(page, job)
    type_before_script_loads(page, address, "Customer's limit", "380")
    page.goto(address)  # nothing more was typed: the older draft is complete
    page.get_by_role("button", name="Restore draft").click()
    expect(get_textbox(page, BRIEF)).to_have_value(TYPED)
    type_before_script_loads(page, address, "Customer's limit", "380")
    page.get_by_role("button", name="Restore draft").click()
    expect(get_textbox(page, BRIEF)).to_have_value(TYPED)
    expect(get_textbox(page, "Customer's limit")).to_have_value("380")


def test_values_filled_in_by_browser_or_server_are_not_a_draft(log_in: LogIn) -> None:
    job = factories.make_job()
    page = log_in(Role.DESK)
    address = type_brief(page, job)
    follow(page.get_by_role("button", name="Save"))
    expect(get_region(page, "Request and check-in")).to_contain_text(TYPED)
    Job.objects.update(brief="Now in other words")
    with page.expect_event("load"):
        page.go_back()
    expect(get_textbox(page, BRIEF)).to_have_value(TYPED)  # restored by the browser, and already saved
    expect(page.get_by_text(KEPT)).to_have_count(0)
    page.goto(address)
    expect(get_textbox(page, BRIEF)).to_have_value("Now in other words")
    expect(page.get_by_text(KEPT)).to_have_count(0)
    expect(page.get_by_role("button", name="Restore draft")).to_have_count(0)


def test_text_changed_after_a_lost_response_is_a_new_submission(
    log_in: LogIn, new_tab: NewTab, context: BrowserContext, faults: list[str]
) -> None:
    page = log_in(Role.DESK)
    address = f"{page.url}customers/new/"
    page.goto(address)
    get_textbox(page, "Name*").fill("Ines Quill")

    def lose_answer(route: Route) -> None:
        route.fetch(max_redirects=0)
        route.abort()

    page.route(address, lose_answer)
    page.get_by_role("button", name="Save").click()
    page.wait_for_url("chrome-error://**")
    page.close()
    assert Customer.objects.get().name == "Ines Quill"
    context.clear_cookies(name="messages")  # it was in the lost response

    page = new_tab()
    page.goto(address)
    page.get_by_role("button", name="Restore draft").click()
    expect(get_textbox(page, "Name*")).to_have_value("Ines Quill")
    get_textbox(page, "Name*").press_sequentially(" junior")
    follow(page.get_by_role("button", name="Save"))
    assert_message(page, "saved")
    assert {customer.name for customer in Customer.objects.all()} == {"Ines Quill", "Ines Quill junior"}
    faults.clear()  # the console reports the lost response


def test_expired_session_returns_to_the_typed_text(log_in: LogIn, context: BrowserContext) -> None:
    job = factories.make_job()
    page = log_in(Role.DESK)
    address = type_brief(page, job)
    end_session(context)
    follow(page.get_by_role("button", name="Save"))
    submit_login(page, Role.DESK)
    page.wait_for_url(address)
    expect(page.get_by_text("Your draft is restored")).to_be_visible()
    expect(get_textbox(page, BRIEF)).to_have_value(TYPED)
    follow(page.get_by_role("button", name="Save"))
    expect(get_region(page, "Request and check-in")).to_contain_text(TYPED)


def test_expired_session_on_partial_request_shows_the_login_page(
    log_in: LogIn, context: BrowserContext
) -> None:
    job = factories.make_job()
    page = log_in(Role.MECHANIC)
    follow(page.locator(f"#bike-{job} .bike-name"))
    follow(get_region(page, "Checks").get_by_role("link", name="Open the checks"))
    address = page.url
    end_session(context)
    follow(page.get_by_role("button", name="tick").first)
    submit_login(page, Role.MECHANIC)
    page.wait_for_url(address)
    expect(page.get_by_role("heading", name="Checks")).to_be_visible()
    expect(page.get_by_role("banner")).to_have_count(1)


def test_expired_session_while_moving_a_job_returns_to_the_job(
    log_in: LogIn, context: BrowserContext
) -> None:
    job = factories.make_job()
    page = log_in(Role.DESK)
    follow(page.locator(f"#bike-{job} .bike-name"))
    page.get_by_text("Wait, cancel, or move with a reason").click()
    page.get_by_role("combobox", name="Move to").select_option("received")
    page.get_by_label("Why").fill("Came a day early")
    end_session(context)
    follow(page.get_by_role("button", name="Move", exact=True))
    submit_login(page, Role.DESK)
    expect(page.get_by_role("region", name=f"Job {job.number}")).to_be_visible()
    expect(page.get_by_label("Why")).to_be_visible()
    expect(page.get_by_label("Why")).to_have_value("Came a day early")


def test_double_click_and_repeated_submission_book_one_job(log_in: LogIn) -> None:
    factories.make_bike(plate="DEMO 74")
    page = log_in(Role.DESK)
    follow(page.get_by_role("link", name="Book a job").first)
    page.get_by_role("searchbox", name="Find the bike by plate, VIN, make or owner").press_sequentially(
        "demo 74"
    )
    expect(page.get_by_role("radio", name="DEMO 74")).to_be_checked()
    get_textbox(page, "Customer's request*").fill("Valves")
    page.get_by_label("Intended use").select_option("road")
    with page.expect_request(lambda request: request.method == "POST") as sending, page.expect_navigation():
        page.get_by_role("button", name="Book job", exact=True).dblclick()
    expect(page.get_by_role("region", name="Job ")).to_be_visible()
    assert Job.objects.count() == 1

    # The server, not only the disabled button, prevents a second job: send the same data again.
    sent = sending.value
    again = page.context.request.post(
        sent.url, data=sent.post_data, headers={"content-type": sent.headers["content-type"]}
    )
    assert again.ok
    assert again.url == page.url
    assert Job.objects.count() == 1


def test_edit_conflict_in_second_tab_is_reported_and_input_preserved(log_in: LogIn, new_tab: NewTab) -> None:
    customer = factories.make_customer(phone="+00 555 0101", email="ines@example.org")
    first = log_in(Role.DESK)
    follow(first.get_by_role("link", name="Customers", exact=True))
    follow(first.get_by_role("link", name=customer.name))
    follow(first.get_by_role("link", name="Edit"))
    second = new_tab()
    second.goto(first.url)

    get_textbox(first, "Phone").fill("+00 555 0199")
    get_textbox(first, "Note").fill("Call after six")
    follow(first.get_by_role("button", name="Save"))
    assert_message(first, "saved")
    get_textbox(second, "Note").fill("Has a second key")
    follow(second.get_by_role("button", name="Save"))

    alert = second.get_by_role("alert")
    expect(alert).to_contain_text("Dana Desk changed this")
    expect(get_row(alert, "note").get_by_role("cell")).to_have_text(["Call after six", "Has a second key"])
    expect(get_textbox(second, "Note")).to_have_value("Has a second key")
    assert_accessible(second)
    follow(second.get_by_role("button", name="Save"))
    assert_message(second, "saved")
    stored = Customer.objects.get()
    assert (stored.phone, stored.note) == ("+00 555 0199", "Has a second key")


def test_two_tabs_change_different_fields_of_one_job(log_in: LogIn, new_tab: NewTab) -> None:
    job = factories.make_job()
    first = log_in(Role.DESK)
    follow(first.locator(f"#bike-{job} .bike-name"))
    first.get_by_text("Edit and documents").click()
    follow(first.get_by_role("link", name="Edit job"))
    second = new_tab()
    second.goto(first.url)
    first.get_by_label("Mechanic").select_option("Mika Mechanic")
    follow(first.get_by_role("button", name="Save"))
    expect(first.get_by_role("region", name=f"Job {job.number}")).to_be_visible()
    get_textbox(second, "Customer's limit").fill("380,00")
    follow(second.get_by_role("button", name="Save"))
    expect(second.get_by_role("alert")).to_contain_text("Dana Desk changed this")
    expect(get_textbox(second, "Customer's limit")).to_have_value("380,00")
    follow(second.get_by_role("button", name="Save"))
    expect(second.get_by_text("Mika Mechanic (mechanic)")).to_be_visible()
    expect(second.get_by_role("region", name=f"Job {job.number}")).to_contain_text("380.00")
