"""Numbers and names in sentences."""

from collections.abc import Sequence

MAX_NAMED = 6


def counted(count: int, one: str, many: str = "") -> str:
    """Return a count with its noun, such as '2 runs'."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def listed(names: Sequence[str], limit: int = MAX_NAMED) -> str:
    """Return names in a row; of many, the first few and how many more there are."""
    shown = list(names) if len(names) <= limit + 1 else [*names[:limit], f"and {len(names) - limit} more"]
    return "; ".join(shown)
