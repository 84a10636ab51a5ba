"""Devices that somebody has logged in from: wrong tries elsewhere do not lock them out.

After a login the browser keeps a signed cookie. With it, wrong tries are counted for that device alone,
so that nobody who merely knows a name can lock its owner out. A guesser gains nothing by a cookie: it
has its own limit of tries, and one that we did not sign counts for nothing.
"""

import secrets
from typing import Any

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.utils.crypto import salted_hmac

COOKIE = "known_device"
MAX_AGE_S = 180 * 24 * 3600
MAX_PEOPLE = 12  # of a device that several people share
ADDRESS = ["username", "ip_address"]
DEVICE = ["username", "user_agent"]


def hash_name(username: str) -> str:
    """Return what stands for a name in the cookie, which anyone at the device could read."""
    return salted_hmac(COOKIE, username).hexdigest()[:20]


def read_cookie(request: HttpRequest) -> tuple[str, list[str]]:
    """Return the device's own mark and the people who logged in there; ('', []) if unknown."""
    try:
        mark, people = signing.loads(request.COOKIES.get(COOKIE, ""), salt=COOKIE, max_age=MAX_AGE_S)
    except (signing.BadSignature, ValueError, TypeError):
        return "", []
    return mark, people


def remember_device(request: HttpRequest, response: HttpResponse, username: str) -> None:
    """Let the browser keep that this person has logged in here."""
    mark, people = read_cookie(request)
    name = hash_name(username)
    people = [name, *(other for other in people if other != name)][:MAX_PEOPLE]
    response.set_cookie(
        COOKIE,
        signing.dumps([mark or secrets.token_hex(16), people], salt=COOKIE),
        max_age=MAX_AGE_S,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )


def identify_device(request: HttpRequest, username: str) -> None:
    """Count wrong tries of this request by device, if this person has logged in from it before."""
    mark, people = read_cookie(request)
    if mark and hash_name(username) in people:
        # The throttle keeps three things of a try: name, address and user agent.
        request.META["HTTP_USER_AGENT"] = f"known device {mark}"
        request.counts_by_device = True  # type: ignore[attr-defined]  # our own attribute


def choose_lockout_parameters(request: Any, credentials: Any = None) -> list[list[str]]:
    """Return what wrong tries are counted by, for axes."""
    return [DEVICE if getattr(request, "counts_by_device", False) else ADDRESS]
