"""The documents' own fonts, and what happens to characters without a glyph in them.

WeasyPrint falls back to the fonts of the machine. If no font has a character, its Unicode number is printed
instead and a note says so, so that nothing typed is lost.
"""

import functools
import io
import unicodedata
from pathlib import Path

from django.conf import settings

FONTS = {
    "sheet:sans-regular.ttf": "ibm-plex-sans-*/IBMPlexSans-Regular.ttf",
    "sheet:sans-italic.ttf": "ibm-plex-sans-*/IBMPlexSans-Italic.ttf",
    "sheet:sans-semibold.ttf": "ibm-plex-sans-*/IBMPlexSans-SemiBold.ttf",
    "sheet:mono-regular.ttf": "ibm-plex-mono-*/IBMPlexMono-Regular.ttf",
}
# The first fallback is a font that matplotlib installs.
SPARE_FONT = "sheet:spare-regular.ttf"
BODY = "sheet:sans-regular.ttf"
# Invisible characters need no glyph: spaces, controls, joiners and variation selectors.
INVISIBLE = {"Cc", "Cf", "Zs", "Zl", "Zp"}
VARIATION_SELECTORS = range(0xFE00, 0xFE10)
NOTE = (
    "<p>No font here has some of the letters that were typed. Their Unicode numbers stand for them, as "
    "{example} does; what is attached to this file holds them as they were typed.</p>"
)


@functools.cache
def font_bytes(address: str) -> bytes:
    if address == SPARE_FONT:
        import matplotlib

        return (Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf").read_bytes()
    return next((Path(settings.BASE_DIR) / "static" / "vendor").glob(FONTS[address])).read_bytes()


def with_missing_glyphs_named(html: str) -> str:
    """Return the page with Unicode numbers for characters that no font has, and a note."""
    not_bundled = missing_glyphs(html)
    missing = not_bundled - system_glyphs(not_bundled)
    if not missing:
        return html
    numbers = {character: f"[U+{character:04X}]" for character in missing}
    note = NOTE.format(example=numbers[min(missing)])
    return html.translate(numbers).replace("</body>", f"{note}</body>")


def missing_glyphs(text: str) -> frozenset[int]:
    """Return the characters of a text that the bundled fonts do not have."""
    visible = (character for character in set(text) if unicodedata.category(character) not in INVISIBLE)
    return (
        frozenset(ord(character) for character in visible) - bundled_glyphs() - frozenset(VARIATION_SELECTORS)
    )


@functools.cache
def bundled_glyphs() -> frozenset[int]:
    from matplotlib.ft2font import FT2Font

    fonts = (FT2Font(io.BytesIO(font_bytes(address))) for address in (BODY, SPARE_FONT))
    return frozenset(character for font in fonts for character in font.get_charmap())


@functools.lru_cache(maxsize=64)
def system_glyphs(characters: frozenset[int]) -> frozenset[int]:
    """Return those of the characters that some font of this machine has."""
    if not characters:
        return frozenset()
    from matplotlib.font_manager import findSystemFonts
    from matplotlib.ft2font import FT2Font

    found: frozenset[int] = frozenset()
    for path in sorted(findSystemFonts()):
        try:
            found |= characters & FT2Font(path).get_charmap().keys()
        except (OSError, RuntimeError):
            continue  # not a readable font
        if found == characters:
            break
    return found
