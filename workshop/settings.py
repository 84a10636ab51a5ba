"""All settings, each read from a typed environment variable with a safe default.

DEBUG is off and SECRET_KEY must be given. ``DATABASE_URL`` moves the shop from the embedded
SQLite file to PostgreSQL; ``DATA_DIR`` is where the database file, uploads and issued sheets live.
"""

import ipaddress
import os
from pathlib import Path
from typing import Any

import environ
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

# One thread for linear algebra: our matrices are small, and on a busy machine threads waiting for each other
# made issuing a sheet ten times slower. NumPy reads this when it is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

BASE_DIR = Path(__file__).resolve().parent.parent
env = environ.Env()

DEBUG: bool = env.bool("DEBUG", default=False)
SECRET_KEY: str = env.str("SECRET_KEY", default="not-for-use" if DEBUG else "")
if not SECRET_KEY:
    raise ImproperlyConfigured(
        "SECRET_KEY is not set. Set it to a long random string, for example the output of: "
        'python -c "import secrets; print(secrets.token_urlsafe(50))"'
    )

DATA_DIR = Path(env.str("DATA_DIR", default=str(BASE_DIR / ".data")))
ALLOWED_HOSTS: list[str] = env.list("ALLOWED_HOSTS", default=["localhost", "127.0.0.1", "[::1]"])
CSRF_TRUSTED_ORIGINS: list[str] = env.list("CSRF_TRUSTED_ORIGINS", default=[])

# Secure cookies and the redirect to https are for a shop behind TLS; a shop that only serves its own
# bench over plain http sets HTTPS=off.
HTTPS: bool = env.bool("HTTPS", default=not DEBUG)
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE_SSL_REDIRECT = HTTPS
SECURE_HSTS_SECONDS: int = env.int("HSTS_SECONDS", default=0)
BEHIND_PROXY: bool = env.bool("BEHIND_PROXY", default=False)
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if BEHIND_PROXY else None


def trusted_proxies() -> list[ipaddress.IPv4Network | ipaddress.IPv6Network]:
    """Return the networks of the proxies whose X-Forwarded-For is believed."""
    this_machine = ["127.0.0.1", "::1"] if BEHIND_PROXY else []
    try:
        return [ipaddress.ip_network(text) for text in env.list("TRUSTED_PROXIES", default=this_machine)]
    except ValueError as problem:
        raise ImproperlyConfigured(
            f"TRUSTED_PROXIES takes addresses or networks, such as 127.0.0.1,10.0.0.0/24: {problem}."
        ) from None


TRUSTED_PROXIES = trusted_proxies()

INSTALLED_APPS = [
    "workshop.apps.WorkshopConfig",
    "jobs.apps.JobsConfig",
    "reports.apps.ReportsConfig",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "crispy_forms",
    "crispy_bootstrap5",
    "simple_history",
    "csp",
    "axes",
    "django_tasks",
    "django_tasks_db",
]

MIDDLEWARE = [
    "workshop.access.proxy.ProxyMiddleware",
    "workshop.access.middleware.PlainAddressMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "workshop.access.middleware.StaffLoginMiddleware",
    "workshop.access.middleware.DenyByDefaultMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "simple_history.middleware.HistoryRequestMiddleware",
    "workshop.access.middleware.ShopMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "workshop.urls"
WSGI_APPLICATION = "workshop.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "workshop.context.shop",
            ],
        },
    },
]
CRISPY_ALLOWED_TEMPLATE_PACKS = CRISPY_TEMPLATE_PACK = "bootstrap5"
CRISPY_FAIL_SILENTLY = False


def database() -> dict[str, Any]:
    config: dict[str, Any] = env.db_url("DATABASE_URL", default=f"sqlite:///{DATA_DIR / 'workshop.sqlite3'}")
    if config["ENGINE"] == "django.db.backends.sqlite3":
        # IMMEDIATE, since SQLite otherwise refuses a transaction that reads and then writes while
        # another one writes, whatever the timeout.
        config["OPTIONS"] = {
            "transaction_mode": "IMMEDIATE",
            "timeout": 20,
            "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON;",
        }
    else:
        # Compiling a query that reads a whole job takes PostgreSQL half a second, running it a millisecond.
        config["OPTIONS"] = {"options": "-c jit=off", **config.get("OPTIONS", {})}
    config["CONN_MAX_AGE"] = env.int("CONN_MAX_AGE", default=60)
    config["CONN_HEALTH_CHECKS"] = True
    return config


DATABASES = {"default": database()}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "workshop.StaffMember"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "workshop.people.backend.StaffBackend",
]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "workshop.people.passwords.SimilarPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "workshop.people.passwords.WidelyUsedPasswordValidator"},
    {"NAME": "workshop.people.passwords.EasyPasswordValidator"},
]
LOGIN_URL = "login"
LOGIN_REDIRECT_URL = "today"
LOGOUT_REDIRECT_URL = "login"
LOCAL_MEMORY = "django.core.cache.backends.locmem.LocMemCache"
CACHES = {
    "default": {"BACKEND": LOCAL_MEMORY},
    # Rendered sections of job pages, some 8 kB each.
    "sections": {
        "BACKEND": LOCAL_MEMORY,
        "LOCATION": "sections",
        "TIMEOUT": None,
        "OPTIONS": {"MAX_ENTRIES": 2000},
    },
    # Previews of sheets, of all processes: three files each, deleted after a quarter of an hour.
    "previews": {
        "BACKEND": "django.core.cache.backends.filebased.FileBasedCache",
        "LOCATION": DATA_DIR / "previews",
        "TIMEOUT": 900,
        "OPTIONS": {"MAX_ENTRIES": 60},
    },
}
# In the database, not in a cache: what each process keeps for itself would outlive a log-out.
SESSION_ENGINE = "django.contrib.sessions.backends.db"
SESSION_COOKIE_AGE = env.int("SESSION_HOURS", default=12) * 3600
SESSION_COOKIE_SAMESITE = "Lax"

# Ten wrong passwords lock the name for a quarter of an hour, from that address or known device.
AXES_FAILURE_LIMIT = 10
AXES_COOLOFF_TIME = 0.25
AXES_LOCKOUT_PARAMETERS = "workshop.people.devices.choose_lockout_parameters"
# Never stored with a wrong try.
AXES_SENSITIVE_PARAMETERS = ["username", "ip_address", "old_password", "new_password1", "new_password2"]
AXES_LOCKOUT_CALLABLE = "workshop.people.views.locked_out"
# The page says when to try again, so a try in between must not postpone that.
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False
AXES_RESET_ON_SUCCESS = True
AXES_VERBOSE = False

LANGUAGE_CODE = "en"
USE_I18N = True  # of what leaves the shop, in the customer's language; no request chooses one
TIME_ZONE = "UTC"
USE_TZ = True

STATIC_URL = "static/"
STATIC_ROOT: Path | None = DATA_DIR / "static"
STATICFILES_DIRS = [BASE_DIR / "static"]
# Uploads and issued sheets have no public URL: views serve them after checking permissions.
MEDIA_ROOT = DATA_DIR / "files"
# If there is such a file, issued sheets are signed with it; manage.py make_certificate makes one.
SIGNING_CERTIFICATE = Path(env.str("SIGNING_CERTIFICATE", default=str(DATA_DIR / "signing.p12")))
SIGNING_PASSPHRASE: str = env.str("SIGNING_PASSPHRASE", default="")
STORAGES = {
    "default": {
        "BACKEND": env.str("FILE_STORAGE", default="workshop.stored_files.WholeFileStorage"),
        "OPTIONS": env.json("FILE_STORAGE_OPTIONS", default={}),
    },
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if DEBUG
        else "workshop.static_files.HashedStaticFilesStorage"
    },
}
# Readable by the account that runs the site alone; other files by the umask of manage.py and wsgi.py.
FILE_UPLOAD_PERMISSIONS = 0o600
FILE_UPLOAD_DIRECTORY_PERMISSIONS = 0o700
WHITENOISE_USE_FINDERS = WHITENOISE_AUTOREFRESH = DEBUG
FILE_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024
DATA_UPLOAD_MAX_MEMORY_SIZE = 10 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 10_000

# Without a mail server the pages offer links to copy. Nothing is printed: a link in a log is no secret.
EMAIL_CONFIG = env.email_url("EMAIL_URL", default="dummymail://")
globals().update(**EMAIL_CONFIG)
DEFAULT_FROM_EMAIL: str = env.str("DEFAULT_FROM_EMAIL", default="workshop@localhost")
# Seconds within which the mail server has to answer each time.
EMAIL_TIMEOUT: int = env.int("EMAIL_TIMEOUT", default=20)

# How sheets are printed and mails are sent: in a process started on demand, by a worker (manage.py
# db_worker), or in the request itself.
TASKS = {
    "process": {"BACKEND": "workshop.background.processes.ProcessBackend"},
    "database": {"BACKEND": "django_tasks_db.DatabaseBackend"},
    "immediate": {"BACKEND": "django_tasks.backends.immediate.ImmediateBackend"},
}
TASKS["default"] = TASKS[env.str("TASKS", default="process", choices=[*TASKS])]

X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
    }
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"refusals": {"()": "workshop.access.errors.RefusalsInOneLine"}},
    "formatters": {"discreet": {"()": "workshop.logs.DiscreetFormatter"}},
    "handlers": {
        "console": {
            "class": "logging.StreamHandler",
            "filters": ["refusals"],
            "formatter": "discreet",
        }
    },
    "loggers": {"django.server": {"handlers": ["console"], "level": "INFO", "propagate": False}},
    "root": {"handlers": ["console"], "level": env.str("LOG_LEVEL", default="WARNING")},
}

# The health check, the system checks and the owner's Today warn below so much free space.
LOW_DISK_MB: int = env.int("LOW_DISK_MB", default=1000)

# Maximum size of uploads, in bytes.
RUN_FILE_LIMIT = 64 * 1024 * 1024
PHOTO_LIMIT = 20 * 1024 * 1024
CALIBRATION_LIMIT = 16 * 1024 * 1024
