"""The health check, for monitoring."""

import logging

from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from workshop.access.roles import public

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
    answers = database_answers()
    return JsonResponse({"database": "ok" if answers else "does not answer"}, status=200 if answers else 503)
