"""One sending, one record: a form sent twice (double click, slow line) is acted on once."""

import uuid
from collections.abc import Callable
from functools import wraps
from typing import Any

from django.db import IntegrityError, transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect

from workshop.access.roles import StaffRequest
from workshop.models import Submission
from workshop.records.responses import say_saved

FIELD = "form_key"


def sent_key(request: HttpRequest) -> uuid.UUID | None:
    try:
        return uuid.UUID(request.POST.get(FIELD, ""))
    except ValueError:
        return None


def claim(request: StaffRequest, key: uuid.UUID) -> Submission | None:
    """The submission under this key, or None where it was sent before."""
    try:
        with transaction.atomic():
            return Submission.objects.create(key=key, by=request.user)
    except IntegrityError:
        return None


def once(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Act on a POST with a given form_key once; its second sending is led to where the first led.

    A view answers 422 where it shows the form again with errors: then the key stays unused.
    The whole POST is one transaction.
    """

    @wraps(view)
    def guarded(request: StaffRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        key = sent_key(request)
        if request.method != "POST" or key is None:
            return view(request, *args, **kwargs)
        with transaction.atomic():
            submission = claim(request, key)
            if submission is None:
                first = Submission.objects.get(key=key)
                if draft := request.POST.get("draft"):
                    # The first answer may have been lost on its way, and the draft with it never dropped.
                    say_saved(request, "This is saved, once.", draft)
                return HttpResponseRedirect(first.led_to or request.path)
            response = view(request, *args, **kwargs)
            if response.status_code >= 400:
                transaction.set_rollback(True)
            else:
                submission.led_to = response.headers.get("Location", "")
                submission.save(update_fields=["led_to"])
        return response

    return guarded
