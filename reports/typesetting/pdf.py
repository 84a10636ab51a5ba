"""From HTML to PDF for every document, with bundled fonts and pictures; nothing else is loaded.

The PDF declares PDF/A-3a and PDF/UA-1; these are declarations, not the result of a validator.
"""

import functools
import io
from base64 import b64encode
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings

from reports.typesetting.glyphs import FONTS, SPARE_FONT, font_bytes, with_missing_glyphs_named
from reports.typesetting.printing_lock import printing_lock
from workshop.records.plain_text import strip_direction_controls

if TYPE_CHECKING:
    from weasyprint.text.fonts import FontConfiguration
    from weasyprint.urls import URLFetcher

PAPERS = {"A4": "A4", "Letter": "letter"}
UA_METADATA = b"""
<rdf:Description rdf:about="" xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/" pdfuaid:part="1"/>
<rdf:Description rdf:about="" xmlns:pdfaExtension="http://www.aiim.org/pdfa/ns/extension/"
  xmlns:pdfaSchema="http://www.aiim.org/pdfa/ns/schema#" xmlns:pdfaProperty="http://www.aiim.org/pdfa/ns/property#">
<pdfaExtension:schemas><rdf:Bag><rdf:li rdf:parseType="Resource">
<pdfaSchema:schema>PDF/UA Universal Accessibility Schema</pdfaSchema:schema>
<pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/</pdfaSchema:namespaceURI>
<pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix>
<pdfaSchema:property><rdf:Seq><rdf:li rdf:parseType="Resource">
<pdfaProperty:name>part</pdfaProperty:name><pdfaProperty:valueType>Integer</pdfaProperty:valueType>
<pdfaProperty:category>internal</pdfaProperty:category>
<pdfaProperty:description>Part of ISO 14289 to which the file conforms</pdfaProperty:description>
</rdf:li></rdf:Seq></pdfaSchema:property>
</rdf:li></rdf:Bag></pdfaExtension:schemas>
</rdf:Description>
"""
STYLE = "handover/sheet/sheet.css"  # of every document; its own style sheets come after it


@dataclass(frozen=True)
class DocumentSource:
    """The source of a document: its HTML, its files by name, and its page size."""

    html: str
    files: Mapping[str, tuple[bytes, str]]
    paper: str


@dataclass(frozen=True)
class AttachedText:
    """A text file in a PDF, and what it holds."""

    text: str
    description: str


def typeset(
    source: DocumentSource,
    *,
    styles: Sequence[str] = (),
    attached: Mapping[str, AttachedText] | None = None,
    at: datetime,
) -> bytes:
    """Return a document as PDF.

    Parameters
    ----------
    styles : sequence of str
        The document's own style sheets, under ``templates/reports/``, read after the common one.
    attached : mapping, optional
        Attached texts by file name; an empty one is left out.
    at : datetime
        Time of the attachments, given so that the same document has the same bytes.
    """
    from weasyprint import Attachment

    attachments = [
        Attachment(
            string=file.text,
            name=name,
            description=file.description,
            created=at,
            modified=at,
            relationship="Source",
        )
        for name, file in (attached or {}).items()
        if file.text
    ]
    with printing_lock():
        document, options = load_document(source, styles)
        return bytes(
            document.write_pdf(
                **options, pdf_variant="pdf/a-3a", attachments=attachments, finisher=finish_standards
            )
        )


def finish_standards(document: Any, pdf: Any) -> None:
    """Declare PDF/UA-1 beside PDF/A-3a, and name each attachment once.

    PDF/A allows the identifier of PDF/UA only with a description of its schema (ISO 19005-3, 6.6.2.3).
    """
    reference = pdf.catalog["Metadata"]
    metadata = next(found for found in pdf.objects if getattr(found, "reference", None) == reference)
    metadata.stream = [part.replace(b"</rdf:RDF>", UA_METADATA + b"</rdf:RDF>") for part in metadata.stream]
    if "AF" in pdf.catalog:
        pdf.catalog["AF"][:] = dict.fromkeys(pdf.catalog["AF"])


def element_positions(source: DocumentSource, height: str, styles: Sequence[str] = ()) -> dict[str, float]:
    """Return the top of each element with an id on the first page [CSS pixels], without writing a PDF.

    ``height`` is the page height in CSS; choose it so large that everything is on one page.
    """
    width = {"A4": "210mm", "letter": "8.5in"}[source.paper]
    document, options = load_document(replace(source, paper=f"{width} {height}"), styles)
    return {name: float(box[1]) for name, box in document.render(**options).pages[0].anchors.items()}


def load_document(source: DocumentSource, styles: Sequence[str]) -> tuple[Any, dict[str, Any]]:
    """Return the WeasyPrint document, and its style sheets and fonts as arguments."""
    from weasyprint import CSS, HTML

    fonts = loaded_fonts()
    fetcher = restricted_fetcher(source.files)
    page = f"@page {{ size: {source.paper}; }}"
    rules = [page + style_sheet(STYLE), *(style_sheet(name) for name in styles)]
    sheets = [CSS(string=css, font_config=fonts, url_fetcher=fetcher, base_url="sheet:") for css in rules]
    html = with_missing_glyphs_named(strip_direction_controls(source.html))
    document = HTML(string=html, url_fetcher=fetcher, base_url="sheet:")
    return document, {"stylesheets": sheets, "font_config": fonts}


@functools.cache
def font_configuration() -> "FontConfiguration":
    from weasyprint.text.fonts import FontConfiguration

    return FontConfiguration()


def loaded_fonts() -> "FontConfiguration":
    """Return the fonts of all documents, loaded once per process.

    Pango 1.50 never frees the memory of a configuration. WeasyPrint stores the font files in a temporary
    folder, so load them again if the machine has cleared it.
    """
    fonts = font_configuration()
    if fonts._folder is not None and len([*fonts._folder.glob("*")]) <= len(FONTS):
        font_configuration.cache_clear()
        fonts = font_configuration()
    return fonts


@functools.cache
def style_sheet(name: str) -> str:
    return (Path(settings.BASE_DIR) / "templates" / "reports" / name).read_text(encoding="utf-8")


def restricted_fetcher(files: Mapping[str, tuple[bytes, str]]) -> "URLFetcher":
    """Return a fetcher of the bundled fonts and a document's files, and nothing else."""
    from weasyprint.urls import URLFetcher, URLFetcherResponse

    class RestrictedFetcher(URLFetcher):
        def fetch(self, url: str, headers: Any = None) -> URLFetcherResponse:
            if url in (*FONTS, SPARE_FONT):
                return URLFetcherResponse(url, font_bytes(url), {"Content-Type": "font/ttf"})
            if url not in files:
                raise ValueError(f"A sheet loads nothing but its own pictures and fonts, not {url}.")
            data, kind = files[url]
            return URLFetcherResponse(url, data, {"Content-Type": kind})

    return RestrictedFetcher()


def qr_svg(address: str) -> str:
    import segno

    svg, quiet_zone = io.BytesIO(), 4  # white modules on each side, ISO/IEC 18004
    code = segno.make(address, error="m", micro=False)
    code.save(svg, kind="svg", scale=4, border=quiet_zone, xmldecl=False)
    return svg.getvalue().decode()


def qr_data_uri(address: str) -> str:
    """Return the QR code of an address as data URI."""
    return data_uri(qr_svg(address))


def data_uri(svg: str) -> str:
    return f"data:image/svg+xml;base64,{b64encode(svg.encode()).decode()}"
