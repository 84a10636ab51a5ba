"""The address of a client whose requests come through a proxy."""

import ipaddress
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

Network = ipaddress.IPv4Network | ipaddress.IPv6Network
FORWARDED_FOR = "HTTP_X_FORWARDED_FOR"


def is_trusted(address: str, proxies: list[Network]) -> bool:
    """Return True for the address of one of our proxies; a Unix socket has no address."""
    if not address:
        return True
    try:
        return any(ipaddress.ip_address(address) in network for network in proxies)
    except ValueError:
        return False


def read_address(text: str) -> str:
    """Return an address as written in the header, without a port; '' if it is none."""
    text = text.strip()
    if text.startswith("["):
        text = text[1:].partition("]")[0]
    elif text.count(":") == 1:
        text = text.partition(":")[0]
    try:
        return str(ipaddress.ip_address(text))
    except ValueError:
        return ""


def resolve_client(peer: str, forwarded: str, proxies: list[Network]) -> str:
    """Return the address that the outermost of our proxies was called from.

    Each proxy appends the address that called it, so only the end of the header is ours: what stands
    before the first address that is no proxy of ours was sent by the client, who may claim anything.
    """
    client, claims = peer, forwarded.split(",")
    while claims and is_trusted(client, proxies):
        address = read_address(claims.pop())
        if not address:
            break
        client = address
    return client


class ProxyMiddleware:
    """Set REMOTE_ADDR to the client's address if the request came through a trusted proxy."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if settings.TRUSTED_PROXIES and FORWARDED_FOR in request.META:
            peer = request.META.get("REMOTE_ADDR", "")
            request.META["REMOTE_ADDR"] = resolve_client(
                peer, request.META[FORWARDED_FOR], settings.TRUSTED_PROXIES
            )
        return self.get_response(request)
