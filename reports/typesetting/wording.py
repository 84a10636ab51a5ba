"""What texts need before they are set: units at their numbers, and the language of other scripts."""

import re

NO_BREAK_SPACE = "\N{NO-BREAK SPACE}"
UNITS = (
    "%|rpm|U/min|1/min|kW|hp|PS|N·m|lbf·ft|kgf·m|mm|in|thou|km/h|km|mph|mi|kPa|mbar|bar|psi|inHg|mmHg|°C|°F|K|"
    "kg|lb|ms|s|m|ft|N|h"
)
BEFORE_UNIT = re.compile(rf"(?<=\d) (?=(?:{UNITS})(?![\w]))")
PLUS_MINUS = re.compile(r"(?<=[\w%]) ± (?=\d)")
TAG = re.compile(r"(<[^>]*>)")
# One language for each script that few others share; where several do, none is claimed. (Unicode blocks.)
SCRIPTS = {
    "ar": "\u0600-\u06ff\u0750-\u077f\u08a0-\u08ff\ufb50-\ufdff\ufe70-\ufeff",
    "he": "\u0590-\u05ff\ufb1d-\ufb4f",
    "ko": "\u1100-\u11ff\u3130-\u318f\uac00-\ud7af",
    "ja": "\u3040-\u30ff\u31f0-\u31ff",
    "hi": "\u0900-\u097f",
    "th": "\u0e00-\u0e7f",
    "el": "\u0370-\u03ff",
}
RIGHT_TO_LEFT = {"ar", "he"}
ALONE = {"el": 2}  # a single Greek letter is a symbol
RUN = re.compile(
    "|".join(f"(?P<{lang}>[{block}](?:[{block}\\s\u00b7'’.-]*[{block}])?)" for lang, block in SCRIPTS.items())
)


def with_units_kept(html: str) -> str:
    """Return the page with no-break spaces between numbers and their units."""
    glued = PLUS_MINUS.sub(f"{NO_BREAK_SPACE}±{NO_BREAK_SPACE}", html)
    return BEFORE_UNIT.sub(NO_BREAK_SPACE, glued)


def with_languages_marked(html: str) -> str:
    """Return the page with language and direction of text in other scripts."""
    if not RUN.search(html):
        return html
    head, body, rest = html.partition("<body")
    parts = TAG.split(rest)
    return head + body + "".join(part if part.startswith("<") else RUN.sub(mark_run, part) for part in parts)


def mark_run(found: re.Match[str]) -> str:
    lang, text = str(found.lastgroup), found[0]
    if len(text) < ALONE.get(lang, 1):
        return text
    direction = ' dir="rtl"' if lang in RIGHT_TO_LEFT else ""
    return f'<span lang="{lang}"{direction}>{text}</span>'
