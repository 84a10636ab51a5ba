"""Third-party files are shipped whole, unaltered, with their licences, and nothing else beside them."""

import hashlib
import re
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont

VENDOR = Path(__file__).resolve().parent.parent / "static" / "vendor"
PACKAGES = [
    "bootstrap-5.3.9",
    "htmx.org-2.0.11",
    "ibm-plex-mono-2.5.0",
    "ibm-plex-sans-1.1.0",
    "uplot-1.6.32",
]
LETTERS = "ABCabc0123456789łŁğĞşżäöüßñçéЖядю°Ø½·≤≥−→–×±"
GREEK = "λΔΩμ"


def listed() -> dict[str, str]:
    lines = (VENDOR / "SHA256SUMS").read_text().splitlines()
    return {name: digest for digest, name in (line.split("  ", 1) for line in lines)}


def test_every_file_is_as_listed() -> None:
    for name, digest in listed().items():
        assert hashlib.sha256((VENDOR / name).read_bytes()).hexdigest() == digest, name


def test_nothing_lies_beside_the_list() -> None:
    present = {p.relative_to(VENDOR).as_posix() for p in VENDOR.rglob("*") if p.is_file()}
    assert present == {*listed(), "SHA256SUMS"}


def test_only_the_known_packages() -> None:
    assert sorted(p.name for p in VENDOR.iterdir() if p.is_dir()) == PACKAGES


@pytest.mark.parametrize("package", PACKAGES)
def test_each_package_has_its_licence(package: str) -> None:
    licences = [p for p in (VENDOR / package).iterdir() if p.stem.upper() == "LICENSE"]
    assert len(licences) == 1
    assert len(licences[0].read_text(encoding="utf-8")) > 300


def test_every_map_named_in_a_file_is_there() -> None:
    """Hashed static storage refuses to collect a file that names a missing map."""
    named = []
    for path in [*VENDOR.rglob("*.js"), *VENDOR.rglob("*.css")]:
        for name in re.findall(r"sourceMappingURL=(\S+)", path.read_text(encoding="utf-8")):
            named.append(name)
            assert (path.parent / name).is_file(), f"{path.name} names {name}"
    assert sorted(named) == ["bootstrap.bundle.min.js.map", "bootstrap.min.css.map"]


@pytest.mark.parametrize("suffix", [".woff2", ".ttf"])
def test_fonts_hold_the_letters_the_shop_needs(suffix: str) -> None:
    fonts = sorted(VENDOR.glob(f"ibm-plex-*/*{suffix}"))
    assert len(fonts) == 7
    for path in fonts:
        with TTFont(path) as font:
            have = font.getBestCmap()
        needed = LETTERS + (GREEK if "Sans" in path.name else "")
        assert not [letter for letter in needed if ord(letter) not in have], path.name


def test_digits_are_all_of_one_width() -> None:
    """Columns of figures line up only if the font's digits are tabular."""
    for path in VENDOR.glob("ibm-plex-*/*.ttf"):
        with TTFont(path) as font:
            widths = {font["hmtx"][font.getBestCmap()[ord(digit)]][0] for digit in "0123456789"}
        assert len(widths) == 1, path.name


def test_print_and_screen_fonts_are_the_same_letters() -> None:
    for path in VENDOR.glob("ibm-plex-*/*.ttf"):
        with TTFont(path) as ttf, TTFont(path.with_suffix(".woff2")) as woff2:
            assert ttf.getBestCmap() == woff2.getBestCmap(), path.name
