"""The health check, for monitoring."""

import logging

from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from workshop.access.roles import public
from workshop.disk import measure_free_space

logger = logging.getLogger(__name__)


def database_answers() -> bool:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        logger.exception("The database does not answer.")
        return False
    return True


@public
@require_safe
@never_cache
def health(request: HttpRequest) -> JsonResponse:
    """Return 503 if the database does not answer or the disk is full; a disk that is nearly full says so."""
    answers, disk = database_answers(), measure_free_space()
    found = {"database": "ok" if answers else "does not answer", "disk": disk.state}
    return JsonResponse(found, status=200 if answers and disk.state != "full" else 503)
