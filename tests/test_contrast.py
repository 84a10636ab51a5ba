"""Contrast ratios of text and controls in both themes meet WCAG 2.2.

Relative luminance and contrast ratio: W3C Recommendation WCAG 2.2, section "Terms". Success criteria
1.4.3 (text, 4.5) and 1.4.11 (edges of controls and parts of drawings, 3).
"""

import re
from pathlib import Path

import pytest

THEME = Path(__file__).resolve().parent.parent / "static" / "css" / "theme.css"
SET_BY_SCRIPTS = {"--valve-width"}
TEXT, EDGE = 4.5, 3.0
GROUNDS = ["paper", "sheet", "well"]
TEXT_PAIRS = [
    *((ink, ground) for ink in ("ink", "ink-soft", "accent", "accent-strong") for ground in GROUNDS),
    *((state, ground) for state in ("ok", "warn", "alert") for ground in (*GROUNDS, f"{state}-wash")),
    *(("ink", f"{state}-wash") for state in ("accent", "ok", "warn", "alert")),
    ("accent", "accent-wash"),
    ("paper", "ink"),
    ("on-accent", "accent"),
    ("on-accent", "accent-strong"),
    *(("on-mixture", f"{side}-{step}") for side in ("rich", "lean") for step in (1, 2, 3)),
]
EDGE_PAIRS = [
    *((line, ground) for line in ("edge", "focus") for ground in GROUNDS),
    *((curve, "sheet") for curve in ("before", "accent", *(f"line-{number}" for number in range(1, 13)))),
    ("metal-line", "sheet"),
]


def read_colours(theme: str) -> dict[str, str]:
    block = re.search(
        rf'\[data-bs-theme="{theme}"\] \{{\n  color-scheme: {theme};(.*?)\n\}}', THEME.read_text(), re.S
    )
    assert block is not None
    return dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", block[1]))


def relative_luminance(colour: str) -> float:
    shares = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in shares)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast_ratio(one: str, other: str) -> float:
    light, dark = sorted((relative_luminance(one), relative_luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_of_black_on_white_is_21() -> None:
    assert contrast_ratio("#000000", "#ffffff") == pytest.approx(21)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(("pairs", "minimum"), [(TEXT_PAIRS, TEXT), (EDGE_PAIRS, EDGE)])
def test_theme_meets_minimum_contrast(theme: str, pairs: list[tuple[str, str]], minimum: float) -> None:
    colours = read_colours(theme)
    ratios = {pair: round(contrast_ratio(colours[pair[0]], colours[pair[1]]), 2) for pair in pairs}
    assert {pair: ratio for pair, ratio in ratios.items() if ratio < minimum} == {}


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_both_themes_define_the_same_colours(theme: str) -> None:
    assert read_colours(theme).keys() == read_colours("light").keys()


def test_every_variable_of_a_style_is_set() -> None:
    """A misspelt colour is no error in a browser: lines vanish and areas become black."""
    styles = "".join(path.read_text() for path in THEME.parent.glob("*.css"))
    used = set(re.findall(r"var\((--[\w-]+)", styles))
    assert used - set(re.findall(r"(--[\w-]+)\s*:", styles)) - SET_BY_SCRIPTS == set()
