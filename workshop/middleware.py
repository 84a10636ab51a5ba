"""What happens around every request."""

from collections.abc import Callable
from typing import Any
from zoneinfo import ZoneInfo

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.functional import SimpleLazyObject

from workshop.models import ShopProfile

GetResponse = Callable[[HttpRequest], HttpResponse]


class ClosedUnlessNamedMiddleware:
    """Refuse a view that nobody opened by name with workshop.roles."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> None:
        if not getattr(view, "open_to", None):
            raise PermissionDenied("Nobody has opened this view.")


class ShopMiddleware:
    """Give each request the shop's profile, and show times as the clock in the shop shows them."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        shop = ShopProfile.current() if request.user.is_authenticated else None
        request.shop = shop or SimpleLazyObject(ShopProfile.current)  # type: ignore[attr-defined]  # our own attribute
        if shop is None:
            return self.get_response(request)
        with timezone.override(ZoneInfo(shop.time_zone)):
            return self.get_response(request)
