"""A PDF read back: its text, its fonts, its attachments."""

import io
import re
import subprocess
import tempfile
from pathlib import Path
from typing import Any

import pikepdf
import pypdfium2


def pages(pdf: bytes) -> list[str]:
    with pypdfium2.PdfDocument(pdf) as document:
        return [page.get_textpage().get_text_bounded() for page in document]


def squeezed(text: str) -> str:
    """The text without blanks and breaks, which setting lines moves about."""
    return re.sub(r"[\s\u00ad\u200b\ufffe]+", "", text).replace("\ufb01", "fi").replace("\ufb02", "fl")


def whole_text(pdf: bytes) -> str:
    """All text of all pages, with running headers and footers, freed of blanks."""
    return squeezed("".join(pages(pdf)))


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
    """The tree of tags as (kind, alternative text), in the order of reading."""
    found: list[tuple[str, str]] = []

    def walk(node: Any) -> None:
        if isinstance(node, pikepdf.Array):
            for each in node:
                walk(each)
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
