"""Whether the site has a mail server."""

from django.conf import settings

# These deliver to nobody, whatever they print or write.
BACKENDS_WITHOUT_SERVER = {
    f"django.core.mail.backends.{name}.EmailBackend" for name in ("console", "dummy", "filebased")
}


def has_mail_server() -> bool:
    return settings.EMAIL_BACKEND not in BACKENDS_WITHOUT_SERVER
