"""Context processors: what every template may use."""

from typing import Any

from django.http import HttpRequest


def shop(request: HttpRequest) -> dict[str, Any]:
    return {"shop": getattr(request, "shop", None)}
