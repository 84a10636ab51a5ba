"""Settings for tests: a known secret, plain static files, fast hashing."""

import os
import tempfile

os.environ.setdefault("SECRET_KEY", "only-for-the-tests-and-nowhere-else-0123456789")
os.environ.setdefault("HTTPS", "off")
os.environ.setdefault("DATA_DIR", tempfile.mkdtemp(prefix="lash-lambda-tests-"))

from workshop.settings import *  # noqa: F403  (the environment must be laid first)

STORAGES = {**STORAGES, "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}}  # noqa: F405
STATIC_ROOT = None
# Print in the test's own process and transaction; the browser tests print in separate processes.
TASKS = dict.fromkeys(TASKS, TASKS["immediate"])  # noqa: F405
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
# The tables are made from the models, which is faster. Restored backups show that migrations lead to them.
DATABASES["default"]["TEST"] = {"MIGRATE": False}  # noqa: F405
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):  # noqa: F405
    # A file, as in production: SQLite locks differently in memory.
    DATABASES["default"]["TEST"]["NAME"] = str(DATA_DIR / "test.sqlite3")  # noqa: F405
