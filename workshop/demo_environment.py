"""Default environment of the demo shop: its own folder, its own secret, plain http."""

import os
import secrets
from pathlib import Path

DEMO_DIR = Path(__file__).resolve().parent.parent / ".data" / "demo"


def ensure_secret(path: Path) -> str:
    """Return the secret in this file; if there is none, create one that only its owner can read."""
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        with os.fdopen(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "w") as file:
            file.write(secrets.token_urlsafe(50))
    return path.read_text()


def prepare() -> None:
    """Set what the environment leaves open; must run before settings are read."""
    os.environ.setdefault("DATA_DIR", str(DEMO_DIR))
    os.environ.setdefault("HTTPS", "off")
    if not os.environ.get("SECRET_KEY"):
        os.environ["SECRET_KEY"] = ensure_secret(Path(os.environ["DATA_DIR"]) / "secret-key")
