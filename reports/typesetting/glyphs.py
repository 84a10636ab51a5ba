"""The papers' own fonts, and the letters that they lack: from a font of this machine, else as numbers.

Nothing that somebody typed is lost without a word: where no font has a letter, its Unicode number stands for
it and the paper says so.
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
# Signs that the papers' own fonts lack come first from the one that matplotlib carries.
SPARE_FONT = "sheet:spare-regular.ttf"
BODY = "sheet:sans-regular.ttf"
# What prints as nothing needs no glyph: blanks, controls, joiners, and the marks that choose a variant.
UNSEEN = {"Cc", "Cf", "Zs", "Zl", "Zp"}
VARIANTS = range(0xFE00, 0xFE10)
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


def spelled_out(html: str) -> str:
    """The page with a number for each letter that no font has, and a sentence at its end that says so."""
    lacking = lacked(html) - on_this_machine(lacked(html))
    if not lacking:
        return html
    numbers = {letter: f"[U+{letter:04X}]" for letter in lacking}
    note = NOTE.format(example=numbers[min(lacking)])
    return html.translate(numbers).replace("</body>", f"{note}</body>")


def lacked(text: str) -> frozenset[int]:
    """The letters of a text that our own fonts do not have."""
    seen = (letter for letter in set(text) if unicodedata.category(letter) not in UNSEEN)
    return frozenset(ord(letter) for letter in seen) - own_letters() - frozenset(VARIANTS)


@functools.cache
def own_letters() -> frozenset[int]:
    from matplotlib.ft2font import FT2Font

    fonts = (FT2Font(io.BytesIO(font_bytes(address))) for address in (BODY, SPARE_FONT))
    return frozenset(letter for font in fonts for letter in font.get_charmap())


@functools.lru_cache(maxsize=64)
def on_this_machine(letters: frozenset[int]) -> frozenset[int]:
    """Those of the letters that some font of this machine has; the setter of pages finds it by itself."""
    if not letters:
        return frozenset()
    from matplotlib.font_manager import findSystemFonts
    from matplotlib.ft2font import FT2Font

    found: frozenset[int] = frozenset()
    for path in sorted(findSystemFonts()):
        try:
            found |= letters & FT2Font(path).get_charmap().keys()
        except (OSError, RuntimeError):
            continue  # not a font that can be read
        if found == letters:
            break
    return found
