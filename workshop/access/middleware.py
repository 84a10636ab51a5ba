"""Middleware: login, closed views, and the shop of a request."""

import re
from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from django.conf import settings
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import resolve_url
from django.utils import timezone
from django.utils.functional import SimpleLazyObject
from django.utils.http import url_has_allowed_host_and_scheme

from workshop.models import ShopProfile

CONTROL_CHARACTERS = re.compile(r"[\x00-\x1f\x7f]")
GetResponse = Callable[[HttpRequest], HttpResponse]


def origin_page(request: HttpRequest) -> str:
    """Return the page to come back to after login: the requested one, or that of a submitted form.

    Many forms are submitted to a URL that has no page of its own.
    """
    referer = request.headers.get("Referer", "")
    if request.method in ("GET", "HEAD") or not url_has_allowed_host_and_scheme(
        referer, {request.get_host()}
    ):
        return request.get_full_path()
    return urlsplit(referer)._replace(scheme="", netloc="").geturl()


class PlainAddressMiddleware:
    """Answer 404 to an address that nobody can have been given, since it holds control characters.

    PostgreSQL takes no NUL, wherever in a request it stands; a cookie with one counts as none. In the
    fields of a form the form refuses it.
    """

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        query = (text for name, values in request.GET.lists() for text in (name, *values))
        if CONTROL_CHARACTERS.search(request.path_info) or any("\0" in text for text in query):
            raise Http404("The address contains control characters.")
        for name in [name for name, value in request.COOKIES.items() if "\0" in value]:
            del request.COOKIES[name]
        return self.get_response(request)


class StaffLoginMiddleware(LoginRequiredMiddleware):
    """Redirect anonymous visitors to the login page, and after login back to where they were."""

    def handle_no_permission(self, request: HttpRequest, view_func: Any) -> HttpResponseRedirect:
        return redirect_to_login(origin_page(request), resolve_url(settings.LOGIN_URL))


class DenyByDefaultMiddleware:
    """Refuse a view without a decorator of workshop.access.roles."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> None:
        if not getattr(view, "open_to", None):
            raise PermissionDenied("No role has access to this page.")


class ShopMiddleware:
    """Give each request the shop's profile, and show times in the shop's time zone."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        shop = ShopProfile.current() if request.user.is_authenticated else None
        request.shop = shop or SimpleLazyObject(ShopProfile.current)  # type: ignore[attr-defined]  # our own attribute
        if shop is None:
            return self.get_response(request)
        with timezone.override(ZoneInfo(shop.time_zone)):
            return self.get_response(request)
