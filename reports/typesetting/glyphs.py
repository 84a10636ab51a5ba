"""The documents' own fonts, and what happens to characters without a glyph in them.

WeasyPrint falls back to the fonts of the machine. If no font has a character, a picture character is named,
and any other gets its Unicode number; a note says so, so that nothing typed is lost.
"""

import functools
import io
import re
import unicodedata
from importlib.resources import files
from pathlib import Path

from django.conf import settings
from django.utils.translation import gettext, gettext_noop

FONTS = {
    "sheet:sans-regular.ttf": "ibm-plex-sans-*/IBMPlexSans-Regular.ttf",
    "sheet:sans-italic.ttf": "ibm-plex-sans-*/IBMPlexSans-Italic.ttf",
    "sheet:sans-semibold.ttf": "ibm-plex-sans-*/IBMPlexSans-SemiBold.ttf",
    "sheet:mono-regular.ttf": "ibm-plex-mono-*/IBMPlexMono-Regular.ttf",
    "sheet:thai-regular.ttf": "noto-sans-thai-*/NotoSansThai-Regular.ttf",
    "sheet:devanagari-regular.ttf": "noto-sans-devanagari-*/NotoSansDevanagari-Regular.ttf",
}
# The first fallback is a font that matplotlib installs.
SPARE_FONT = "sheet:spare-regular.ttf"
SCRIPTS = ("sheet:sans-regular.ttf", "sheet:thai-regular.ttf", "sheet:devanagari-regular.ttf", SPARE_FONT)
# Loaded only for a document that has such characters: the font of Chinese, Japanese and Korean is large.
CJK_FONT = "sheet:cjk-regular.otf"
RARE_FONTS = {CJK_FONT: "", "sheet:emoji-regular.ttf": "noto-emoji-*/NotoEmoji_400Regular.ttf"}
NUMBERS_IN_A_ROW = re.compile(r"(U\+[0-9A-F]{4,6})\]\[(?=U\+)")
# What Unicode shows as a coloured picture unless U+FE0E follows: Emoji_Presentation=Yes below U+1F000, from
# memory of emoji-data.txt. Above that, and before U+FE0F, every character is taken as one.
PICTURES = re.compile(
    "([\U0001f000-\U0001faff\u231a\u231b\u23e9-\u23ec\u23f0\u23f3\u25fd\u25fe\u2614\u2615\u2648-\u2653\u267f\u2693"
    "\u26a1\u26aa\u26ab\u26bd\u26be\u26c4\u26c5\u26ce\u26d4\u26ea\u26f2\u26f3\u26f5\u26fa\u26fd\u2705\u270a\u270b\u2728"
    "\u274c\u274e\u2753-\u2755\u2757\u2795-\u2797\u27b0\u27bf\u2b1b\u2b1c\u2b50\u2b55]\ufe0f?|.\ufe0f)"
)
TEXT_STYLE = "\ufe0e"
# Invisible characters need no glyph: spaces, controls, joiners and variation selectors.
INVISIBLE = {"Cc", "Cf", "Zs", "Zl", "Zp"}
VARIATION_SELECTORS = range(0xFE00, 0xFE10)
NOTE = gettext_noop(
    "Some characters could not be printed. They are shown by name or as Unicode numbers, for example "
    "%(example)s. The attached files contain the original text."
)


def font_bytes(address: str) -> bytes:
    if address == SPARE_FONT:
        import matplotlib

        return (Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf").read_bytes()
    if address == CJK_FONT:
        return (files("noto_cjk_sans_jp_regular") / "NotoSansCJKjp-Regular.otf").read_bytes()
    vendored = Path(settings.BASE_DIR) / "static" / "vendor"
    return next(vendored.glob((FONTS | RARE_FONTS)[address])).read_bytes()


def with_pictures_as_text(html: str) -> str:
    """Return the page with a sign after each picture character that it is set in our own font, in one colour.

    Without it Pango takes the machine's font for such characters, whatever the style sheet says.
    """
    return PICTURES.sub(lambda found: found[0].rstrip("\ufe0f") + TEXT_STYLE, html)


def needs_rare_fonts(html: str) -> bool:
    """Return True if the page has a character of a font that is loaded only if needed."""
    return TEXT_STYLE in html or bool(characters_outside(html, bundled_glyphs(SCRIPTS)))


def with_missing_glyphs_named(html: str) -> str:
    """Return the page with Unicode numbers for characters that no font has, and a note."""
    not_bundled = missing_glyphs(html)
    missing = not_bundled - system_glyphs(not_bundled)
    if not missing:
        return html
    shown = {character: spell(character) for character in missing}
    note = gettext(NOTE) % {"example": shown[min(missing)]}
    spelt = NUMBERS_IN_A_ROW.sub(r"\1 ", html.translate(shown))
    return spelt.replace("</body>", f"<p>{note}</p></body>")


def spell(character: int) -> str:
    """Return what is printed for a character that no font has."""
    name = unicodedata.name(chr(character), "")
    is_picture = unicodedata.category(chr(character)) == "So"
    return f"[{name.lower()}]" if is_picture and name else f"[U+{character:04X}]"


def missing_glyphs(text: str) -> frozenset[int]:
    """Return the characters of a text that none of our fonts has."""
    rare = characters_outside(text, bundled_glyphs(SCRIPTS))
    return rare - bundled_glyphs(tuple(RARE_FONTS)) if rare else rare


def characters_outside(text: str, glyphs: frozenset[int]) -> frozenset[int]:
    visible = (character for character in set(text) if unicodedata.category(character) not in INVISIBLE)
    return frozenset(ord(character) for character in visible) - glyphs - frozenset(VARIATION_SELECTORS)


@functools.cache
def bundled_glyphs(addresses: tuple[str, ...]) -> frozenset[int]:
    from matplotlib.ft2font import FT2Font

    fonts = (FT2Font(io.BytesIO(font_bytes(address))) for address in addresses)
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
