"""The WSGI entry that a server such as gunicorn is pointed at."""

import os
from collections.abc import Iterable
from typing import Any

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "workshop.settings")
_site = get_wsgi_application()

from workshop.background.abandoned import Keeper  # noqa: E402  (needs the settings)

keeper = Keeper()


def application(environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
    """Answer a request; the first one starts the thread that takes up abandoned tasks."""
    keeper.ensure_started()  # not at import: a server may import this and fork afterwards
    return _site(environ, start_response)
