"""Decorators that open views to roles. A view without one is closed to everyone."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse

from workshop.models.people import Role, StaffMember
from workshop.models.shop import ShopProfile

View = Callable[..., HttpResponse]


class StaffRequest(HttpRequest):
    """A request of someone who is logged in."""

    user: StaffMember
    shop: ShopProfile  # set by the middleware


def roles(*allowed: Role) -> Callable[[Callable[..., Any]], View]:
    """Open a view to people with one of these roles (the owner always may)."""

    def decorator(view: Callable[..., Any]) -> View:
        @wraps(view)
        def wrapper(request: StaffRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if not request.user.is_authenticated or not request.user.holds(*allowed):
                names = " or ".join(role.label for role in allowed)
                raise PermissionDenied(f"This is for: {names}.")
            return view(request, *args, **kwargs)

        wrapper.open_to = frozenset(allowed) | {Role.OWNER}  # type: ignore[attr-defined]  # read by the middleware
        return wrapper

    return decorator


staff = roles(*Role)
owner_only = roles(Role.OWNER)


def public(view: Callable[..., Any]) -> View:
    """Open a view to everyone, logged in or not: only login, health and the customer's link."""

    @login_not_required
    @wraps(view)
    def wrapper(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        response: HttpResponse = view(request, *args, **kwargs)
        return response

    wrapper.open_to = "everybody"  # type: ignore[attr-defined]  # read by the middleware
    return wrapper
