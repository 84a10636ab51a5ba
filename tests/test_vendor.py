"""Vendored files are complete, unaltered and licensed, with nothing else beside them."""

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
    "noto-emoji-0.4.7",
    "noto-sans-devanagari-2.7",
    "noto-sans-thai-2.2",
    "uplot-1.6.32",
]
CHARACTERS = "ABCabc0123456789łŁğĞşżäöüßñçéЖядю°Ø½·≤≥−→–×±"
GREEK = "λΔΩμ"


def read_checksums() -> dict[str, str]:
    lines = (VENDOR / "SHA256SUMS").read_text().splitlines()
    return {name: digest for digest, name in (line.split("  ", 1) for line in lines)}


def test_vendored_files_match_their_checksums() -> None:
    for name, digest in read_checksums().items():
        assert hashlib.sha256((VENDOR / name).read_bytes()).hexdigest() == digest, name


def test_every_vendored_file_is_listed() -> None:
    present = {p.relative_to(VENDOR).as_posix() for p in VENDOR.rglob("*") if p.is_file()}
    assert present == {*read_checksums(), "SHA256SUMS"}


def test_vendored_packages_are_the_expected_ones() -> None:
    assert sorted(p.name for p in VENDOR.iterdir() if p.is_dir()) == PACKAGES


@pytest.mark.parametrize("package", PACKAGES)
def test_vendored_package_has_a_licence(package: str) -> None:
    licences = [p for p in (VENDOR / package).iterdir() if p.stem.upper() == "LICENSE"]
    assert len(licences) == 1
    assert len(licences[0].read_text(encoding="utf-8")) > 300


def test_named_source_maps_exist() -> None:
    """Hashed static storage refuses a file that names a missing map."""
    named = []
    for path in [*VENDOR.rglob("*.js"), *VENDOR.rglob("*.css")]:
        for name in re.findall(r"sourceMappingURL=(\S+)", path.read_text(encoding="utf-8")):
            named.append(name)
            assert (path.parent / name).is_file(), f"{path.name} names {name}"
    assert sorted(named) == ["bootstrap.bundle.min.js.map", "bootstrap.min.css.map"]


@pytest.mark.parametrize("suffix", [".woff2", ".ttf"])
def test_fonts_have_the_needed_characters(suffix: str) -> None:
    fonts = sorted(VENDOR.glob(f"ibm-plex-*/*{suffix}"))
    assert len(fonts) == 7
    for path in fonts:
        with TTFont(path) as font:
            have = font.getBestCmap()
        needed = CHARACTERS + (GREEK if "Sans" in path.name else "")
        assert not [character for character in needed if ord(character) not in have], path.name


def test_digits_are_tabular() -> None:
    """Columns of numbers line up only if the digits have one width."""
    for path in VENDOR.glob("ibm-plex-*/*.ttf"):
        with TTFont(path) as font:
            widths = {font["hmtx"][font.getBestCmap()[ord(digit)]][0] for digit in "0123456789"}
        assert len(widths) == 1, path.name


def test_print_and_screen_fonts_have_the_same_characters() -> None:
    for path in VENDOR.glob("ibm-plex-*/*.ttf"):
        with TTFont(path) as ttf, TTFont(path.with_suffix(".woff2")) as woff2:
            assert ttf.getBestCmap() == woff2.getBestCmap(), path.name
