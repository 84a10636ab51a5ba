"""A PDF read back: its text, its fonts, its attachments."""

import io
import re
import subprocess
import tempfile
from pathlib import Path
from typing import Any

import pikepdf
import pypdfium2

# Parts of a snapshot that no page prints as text: values and times, which are converted; what the layout
# needs; and what the attached tables contain.
NOT_PRINTED_AS_TEXT = {
    "base64",
    "jpeg_base64",
    "type",
    "units",
    "paper",
    "time_zone",
    "sha256",
    "state",
    "quantity",
    "sentence",
    "settings",
    "fuel_table_before",
    "fuel_table_after",
    "result",
    "accepted_at",
    "track_only",
    "printed",  # the section that prints a record
    "template",  # which file prints the rows of a record
    "chart",  # its text is drawn as outlines; its content is described beside it
}
MOMENT_LENGTH = len("2025-03-14T15:00:00+00:00")


def pages(pdf: bytes) -> list[str]:
    with pypdfium2.PdfDocument(pdf) as document:
        return [page.get_textpage().get_text_bounded() for page in document]


def squeezed(text: str) -> str:
    """Return the text without spaces and breaks, which depend on the layout."""
    return re.sub(r"[\s\x02\u00ad\u200b\ufffe]+", "", text).replace("\ufb01", "fi").replace("\ufb02", "fl")


def whole_text(pdf: bytes) -> str:
    """All text of all pages, with running headers and footers, freed of blanks."""
    return squeezed("".join(pages(pdf)))


def texts(value: Any, path: str = "") -> list[tuple[str, str]]:
    """Every text of a snapshot with where it stands, times and what is not printed left out."""
    if isinstance(value, dict):
        return [
            found
            for key, item in value.items()
            if key not in NOT_PRINTED_AS_TEXT
            for found in texts(item, f"{path}.{key}")
        ]
    if isinstance(value, list):
        return [found for index, item in enumerate(value) for found in texts(item, f"{path}[{index}]")]
    if not isinstance(value, str) or not value or (len(value) == MOMENT_LENGTH and value[4:5] == "-"):
        return []
    return [(path, value)]


def unprinted_texts(snapshot: dict[str, Any], pdf: bytes) -> list[tuple[str, str]]:
    printed = whole_text(pdf).lower()
    return [(path, text) for path, text in texts(snapshot) if squeezed(text).lower() not in printed]


def opened(pdf: bytes) -> pikepdf.Pdf:
    return pikepdf.open(io.BytesIO(pdf))


def attachments(pdf: bytes) -> dict[str, bytes]:
    with opened(pdf) as document:
        return {name: spec.get_file().read_bytes() for name, spec in document.attachments.items()}


def fonts(pdf: bytes) -> dict[str, bool]:
    """Every font of every page, and whether its program is in the file."""
    found = {}
    with opened(pdf) as document:
        for page in document.pages:
            for font in page.resources.get("/Font", {}).values():
                for leaf in font.get("/DescendantFonts", [font]):
                    descriptor = leaf["/FontDescriptor"]
                    embedded = any(key in descriptor for key in ("/FontFile", "/FontFile2", "/FontFile3"))
                    found[str(leaf["/BaseFont"])] = embedded
    return found


def elements(pdf: bytes) -> list[tuple[str, str]]:
    """Return the tags as (kind, alternative text) in reading order."""
    found: list[tuple[str, str]] = []

    def walk(node: Any) -> None:
        if isinstance(node, pikepdf.Array):
            for child in node:
                walk(child)
        elif isinstance(node, pikepdf.Dictionary):
            if "/S" in node:
                found.append((str(node["/S"]), str(node.get("/Alt", ""))))
            if "/K" in node:
                walk(node["/K"])

    with opened(pdf) as document:
        walk(document.Root.StructTreeRoot)
    return found


def syntax_problems(pdf: bytes) -> str:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sheet.pdf"
        path.write_bytes(pdf)
        checked = subprocess.run(["qpdf", "--check", path], capture_output=True, text=True, check=False)
        return "" if checked.returncode == 0 else checked.stdout + checked.stderr
