"""Search text and current page of a list."""

from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import QuerySet
from django.http import HttpRequest

PAGE_LENGTH = 50


def search_text(request: HttpRequest, name: str = "q") -> str:
    """Return the text typed into a search field."""
    return request.GET.get(name, "").strip()


def list_page(request: HttpRequest, rows: QuerySet[Any]) -> Page:
    return Paginator(rows, PAGE_LENGTH).get_page(request.GET.get("page"))
