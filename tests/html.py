"""Read the HTML of a page: its text, its table rows, the fields of its forms, and its links."""

import json
from typing import Any

from django.http import HttpResponse
from lxml import html
from lxml.html import HtmlElement

Page = HttpResponse | HtmlElement | str


def parse(page: Page) -> HtmlElement:
    """Return the root element of a response or of HTML."""
    if isinstance(page, HtmlElement):
        return page
    return html.document_fromstring(page if isinstance(page, str) else page.content.decode())


def find(page: Page, xpath: str) -> list[HtmlElement]:
    """Return what an XPath finds; ``//`` starts at the document, ``.//`` at the element."""
    return parse(page).xpath(xpath)


def by_id(page: Page, name: str) -> HtmlElement:
    """Return the element with an id, which must exist."""
    element = parse(page).get_element_by_id(name, None)
    assert element is not None, f"no element with the id {name}"
    return element


def read_html(page: Page, name: str) -> str:
    """Return the HTML of the element with an id."""
    return html.tostring(by_id(page, name), encoding="unicode", with_tail=False)


def by_class(page: Page, name: str) -> list[HtmlElement]:
    return parse(page).find_class(name)


def read_text(page: Page) -> str:
    """Return the text of a page or an element, with single spaces between words."""
    return " ".join(" ".join(find(page, ".//text()")).split())


def read_rows(page: Page, xpath: str = ".") -> list[list[str]]:
    """Return the text of the cells of every table row."""
    return [
        [read_text(cell) for cell in row.xpath("./th | ./td")]
        for element in find(page, xpath)
        for row in element.xpath(".//tr")
    ]


def read_row(page: Page, header: str) -> list[str]:
    """Return the text of the cells of the first table row with a header."""
    return next(cells for cells in read_rows(page) if cells[0] == header)


def read_form(page: Page, xpath: str = "//form") -> dict[str, str]:
    """Return what the first form would send, without its CSRF token."""
    form = find(page, xpath)[0]
    return {name: value for name, value in form.form_values() if name != "csrfmiddlewaretoken"}


def read_values(page: Page, name: str) -> list[str]:
    """Return the values of all inputs with a name."""
    return parse(page).xpath(".//input[@name=$name]/@value", name=name)


def read_links(page: Page) -> list[str]:
    """Return the URLs of the links."""
    return find(page, ".//a/@href")


def read_json(page: Page, name: str) -> Any:
    """Return the data of a JSON script element."""
    return json.loads(by_id(page, name).text)
