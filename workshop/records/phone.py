"""Phone numbers as links dial them."""

import re


def dialled(phone: str) -> str:
    """Return a number without what only helps to read it."""
    return re.sub(r"[^0-9+]", "", phone)
