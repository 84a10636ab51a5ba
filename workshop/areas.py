"""Which entry of the bar a page belongs to, by the first part of its address."""

_areas: dict[str, str] = {}


def add_to_area(area: str, *parts: str) -> None:
    """Let the pages below these first parts of an address belong to an entry of the bar."""
    _areas.update(dict.fromkeys(parts, area))


def area_of(path: str) -> str:
    """Return the entry of the bar that a page belongs to, or ""."""
    return _areas.get(path.strip("/").partition("/")[0], "")
