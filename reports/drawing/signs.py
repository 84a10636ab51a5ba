"""Small signs in running text: the key of before and now, and the box before a thing to do."""

from reports.drawing.paper import INK, NOW, WAS

_SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="{0}mm" height="{1}mm" viewBox="0 0 {0} {1}">{2}</svg>'
_LINE = (
    '<path d="M0 1.2 H9" stroke="{0}" stroke-width="{1}" fill="none"{2}/>'
    '<circle cx="4.5" cy="1.2" r="0.85" fill="{3}" stroke="{0}" stroke-width="0.35"/>'
)
_BOX = f'<rect x="0.2" y="0.2" width="2.3" height="2.3" fill="none" stroke="{INK}" stroke-width="0.28"/>'


def _sign(width: float, height: float, drawing: str) -> tuple[bytes, str]:
    return _SVG.format(width, height, drawing).encode(), "image/svg+xml"


SIGNS = {
    "sheet:key-before.svg": _sign(9, 2.4, _LINE.format(WAS, 0.4, ' stroke-dasharray="1.4 0.7"', "#fff")),
    "sheet:key-now.svg": _sign(9, 2.4, _LINE.format(NOW, 0.7, "", NOW)),
    "sheet:tick.svg": _sign(2.7, 2.7, _BOX),
}
