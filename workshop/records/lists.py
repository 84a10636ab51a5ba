"""Search text, order, headings and current page of a list; the address holds all of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from django.core.paginator import Page, Paginator
from django.db.models import F, QuerySet
from django.http import HttpRequest

PAGE_LENGTH = 50
Rows = TypeVar("Rows", bound=QuerySet[Any])


@dataclass(frozen=True)
class ListColumn:
    """A column of a list and the fields that sort it, empty values last; without fields it is not sorted."""

    key: str
    label: str
    fields: tuple[str, ...] = ()


@dataclass(frozen=True)
class Heading:
    """The heading of a column: how it is sorted now, and what the address says to sort it differently."""

    label: str
    sort: str
    aria: str


def search_text(request: HttpRequest, name: str = "q") -> str:
    """Return the text typed into a search field."""
    return request.GET.get(name, "").strip()


def list_page(request: HttpRequest, rows: QuerySet[Any]) -> Page:
    return Paginator(rows, PAGE_LENGTH).get_page(request.GET.get("page"))


def sort_rows(request: HttpRequest, rows: Rows, columns: Sequence[ListColumn]) -> Rows:
    """Order rows as the address says ("name", or "-name" for descending); an unknown order is ignored."""
    wanted = request.GET.get("sort", "")
    for column in columns:
        if not column.fields:
            continue
        if wanted == column.key:
            return rows.order_by(*(F(field).asc(nulls_last=True) for field in column.fields), "pk")
        if wanted == f"-{column.key}":
            return rows.order_by(*(F(field).desc(nulls_last=True) for field in column.fields), "-pk")
    return rows


def list_headings(request: HttpRequest, columns: Sequence[ListColumn]) -> list[Heading]:
    """Return the headings of the columns; choosing one sorts by it, choosing it again reverses the order."""
    now = request.GET.get("sort", "")
    aria = {column.key: "ascending" for column in columns} | {f"-{c.key}": "descending" for c in columns}
    return [
        Heading(
            column.label,
            f"-{column.key}" if now == column.key else column.key,
            aria[now] if now.removeprefix("-") == column.key else "",
        )
        if column.fields
        else Heading(column.label, "", "")
        for column in columns
    ]
