"""Make a form submission idempotent (double click, retry on a slow line)."""

import uuid
from collections.abc import Callable
from functools import wraps
from typing import Any

from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect

from workshop.access.roles import StaffRequest
from workshop.models import Submission
from workshop.records.responses import flash_saved

FIELD = "form_key"


def submitted_key(request: HttpRequest) -> uuid.UUID | None:
    try:
        return uuid.UUID(request.POST.get(FIELD, ""))
    except ValueError:
        return None


def submit_once(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Act once on a POST with a given form_key; redirect a repeated one to the first result.

    A response with an error status, such as 422 for a form with errors, leaves the key unused.
    The whole POST is one transaction.
    """

    @wraps(view)
    def wrapper(request: StaffRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        key = submitted_key(request)
        if request.method != "POST" or key is None:
            return view(request, *args, **kwargs)
        with transaction.atomic():
            submission, is_new = Submission.objects.get_or_create(key=key, defaults={"by": request.user})
            if not is_new:
                if draft := request.POST.get("draft"):
                    # The first response may have been lost, so the browser still has its draft.
                    flash_saved(request, "Already saved. Nothing was added twice.", draft)
                return HttpResponseRedirect(submission.led_to or request.path)
            response = view(request, *args, **kwargs)
            if response.status_code >= 400:
                transaction.set_rollback(True)
            else:
                submission.led_to = response.headers.get("Location", "")
                submission.save(update_fields=["led_to"])
        return response

    return wrapper
