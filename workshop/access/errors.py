"""Pages of faults, and what the log says of refusals."""

import logging
import sys

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import get_template

from workshop.disk import is_disk_full

INSUFFICIENT_STORAGE = 507  # RFC 4918, 11.5


def server_error(request: HttpRequest) -> HttpResponse:
    """Render the page of an unexpected fault, or of a full disk, for which somebody can do something."""
    is_full = is_disk_full(sys.exc_info()[1])
    template, status = ("507.html", INSUFFICIENT_STORAGE) if is_full else ("500.html", 500)
    try:
        return render(request, template, status=status)
    except Exception:  # the fault may be in what every page needs, such as the database
        return HttpResponse(get_template(template).render(), status=status)


class RefusalsInOneLine(logging.Filter):
    """Leave the traceback out of the log of a refused request, so that real faults stand out."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Keep the record."""
        if getattr(record, "status_code", 500) < 500:
            record.exc_info = record.exc_text = None
        return True
