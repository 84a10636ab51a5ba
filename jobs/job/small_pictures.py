"""Small pictures in the lines of the job page: words beside them say the same."""

from collections.abc import Iterable, Sequence

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

WIDTH, HEIGHT = 120, 28
MAX_BOXES = 32


def draw(shapes: SafeString) -> SafeString:
    return format_html(
        '<svg class="small-picture" viewBox="0 0 {} {}" aria-hidden="true">{}</svg>', WIDTH, HEIGHT, shapes
    )


def draw_boxes(answered: Sequence[bool]) -> SafeString:
    """Draw a box for each check, filled if it is answered."""
    boxes = sorted(answered, reverse=True)[:MAX_BOXES]
    rows = 1 if len(boxes) <= MAX_BOXES // 2 else 2
    across = MAX_BOXES // 2
    shapes = format_html_join(
        "",
        '<rect class="{}" x="{}" y="{}" width="5.5" height="8"/>',
        (
            (
                "is-done" if box else "is-open",
                1 + 7.4 * (n % across),
                (10 if rows == 1 else 4) + 12 * (n // across),
            )
            for n, box in enumerate(boxes)
        ),
    )
    return draw(shapes)


def draw_shift(pairs: Iterable[tuple[float | None, float | None]]) -> SafeString:
    """Draw valves as found (ring) and as left (bar): 0 and 1 are the limits of the range, shown as a band."""
    shown = list(pairs)[:16]
    step = (HEIGHT - 4) / max(len(shown), 1)

    def across(share: float) -> float:
        return round(30 + 60 * min(max(share, -0.45), 1.45), 1)

    marks = []
    for row, (found, left) in enumerate(shown):
        y = round(2 + step * (row + 0.5), 1)
        if found is not None:
            name = "is-in" if 0 <= found <= 1 else "is-out"
            marks.append(format_html('<circle class="{}" cx="{}" cy="{}" r="2.2"/>', name, across(found), y))
        if left is not None:
            name = "is-in" if 0 <= left <= 1 else "is-out"
            marks.append(
                format_html(
                    '<rect class="is-left {}" x="{}" y="{}" width="3" height="{}"/>',
                    name,
                    across(left) - 1.5,
                    round(y - step / 2, 1),
                    round(max(step - 0.6, 1.5), 1),
                )
            )
    band = format_html('<rect class="is-range" x="30" y="1" width="60" height="{}"/>', HEIGHT - 2)
    return draw(format_html("{}{}", band, format_html_join("", "{}", ((mark,) for mark in marks))))
