"""The WSGI entry that a server such as gunicorn is pointed at."""

import logging
import os
from collections.abc import Iterable
from typing import Any

from django.core.wsgi import get_wsgi_application

from workshop.data_dir import PRIVATE
from workshop.system_checks import check_private_files

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "workshop.settings")
os.umask(PRIVATE)
_site = get_wsgi_application()
for message in check_private_files(None):
    logging.getLogger(__name__).warning("%s %s", message.msg, message.hint)

from workshop.background.abandoned import Keeper  # noqa: E402  (needs the settings)

keeper = Keeper()


def application(environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
    """Answer a request; the first one starts the thread that takes up abandoned tasks."""
    keeper.ensure_started()  # not at import: a server may import this and fork afterwards
    return _site(environ, start_response)
