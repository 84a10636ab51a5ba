"""From HTML to PDF for every document, with bundled fonts and pictures; nothing else is loaded.

The PDF declares PDF/A-3a and PDF/UA-1; these are declarations, not the result of a validator.
"""

import atexit
import functools
import io
from base64 import b64encode
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.template.loader import get_template

from reports.typesetting.glyphs import (
    FONTS,
    RARE_FONTS,
    SPARE_FONT,
    font_bytes,
    needs_rare_fonts,
    with_missing_glyphs_named,
    with_pictures_as_text,
)
from reports.typesetting.printing_lock import printing_lock
from reports.typesetting.wording import with_languages_marked, with_units_kept
from workshop.records.plain_text import strip_direction_controls

if TYPE_CHECKING:
    from weasyprint.text.fonts import FontConfiguration
    from weasyprint.urls import URLFetcher

PAPERS = {"A4": "A4", "Letter": "letter"}
# The text column is 178 mm wide on both.
PAGE_RULES = {
    "A4": "@page { size: A4; }",
    "letter": "@page { size: letter; margin: 14.5mm 18.95mm 12.5mm; } @page :first { margin-top: 11mm; }",
}
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
TRIAL_STYLE = "handover/sheet/trial.css"
# Of the text on the first page, by PAGE_RULES and the margins of the style sheet.
PAGE_HEIGHTS_MM = {"A4": 297 - 14 - 14, "letter": 279.4 - 11 - 12.5}
MM_PER_PX = 25.4 / 96
STYLE = "handover/sheet/sheet.css"  # of every document; its own style sheets come after it
RARE_FONTS_STYLE = "handover/sheet/rare_fonts.css"


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


def trial_room_mm(source: DocumentSource, end: str) -> float:
    """Return the height left under the element ``end`` on the first page [mm]; below zero if too high."""
    document, options = load_document(source, (TRIAL_STYLE,))
    box = document.render(**options).pages[0]
    top, height = box._page_box.content_box_y(), PAGE_HEIGHTS_MM[source.paper] / MM_PER_PX
    used = box.anchors[end][1] - top
    return (height - used) * MM_PER_PX


def load_document(source: DocumentSource, styles: Sequence[str]) -> tuple[Any, dict[str, Any]]:
    """Return the WeasyPrint document, and its style sheets and fonts as arguments."""
    from weasyprint import CSS, HTML

    fonts = loaded_fonts()
    fetcher = restricted_fetcher(source.files)
    sheets = [parsed_style(name, fonts) for name in (STYLE, *styles)]
    rule = PAGE_RULES.get(source.paper, f"@page {{ size: {source.paper}; }}")
    sheets.insert(1, CSS(string=rule, font_config=fonts))
    text = with_pictures_as_text(with_units_kept(strip_direction_controls(source.html)))
    if needs_rare_fonts(text):
        sheets.append(parsed_style(RARE_FONTS_STYLE, fonts))
    html = with_languages_marked(with_missing_glyphs_named(text))
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


def warm_up() -> None:
    """Load what a document needs: libraries, fonts, the common style sheet."""
    import pypdfium2  # noqa: F401  (turns the first page into a picture)
    import scipy.interpolate  # compares runs
    import scipy.ndimage  # noqa: F401

    from jobs.job.facts_codec import converter
    from reports.drawing.paper import Drawing

    converter()
    templates = Path(settings.BASE_DIR) / "templates"
    for pattern in ("reports/handover/sheet.html", "reports/handover/sheet/*.html", "jobs/*/_sheet*.html"):
        for path in sorted(templates.glob(pattern)):
            get_template(str(path.relative_to(templates)))
    every_font = "<h1>Ready</h1><p>Ready <b>at</b> <i>once</i> <code>now</code></p><table><td>1</table>"
    at = datetime(2000, 1, 1, tzinfo=UTC)
    typeset(DocumentSource(f"{every_font}{Drawing(10, 10).svg()}", {}, "A4"), at=at)


@functools.cache
def parsed_style(name: str, fonts: "FontConfiguration") -> Any:
    """Return a style sheet under ``templates/reports/``, parsed once for a configuration of fonts."""
    from weasyprint import CSS

    css = (Path(settings.BASE_DIR) / "templates" / "reports" / name).read_text(encoding="utf-8")
    return CSS(string=css, font_config=fonts, url_fetcher=restricted_fetcher({}), base_url="sheet:")


# Before the interpreter takes apart what a font configuration needs to go.
atexit.register(parsed_style.cache_clear)
atexit.register(font_configuration.cache_clear)


def restricted_fetcher(files: Mapping[str, tuple[bytes, str]]) -> "URLFetcher":
    """Return a fetcher of the bundled fonts and a document's files, and nothing else."""
    from weasyprint.urls import URLFetcher, URLFetcherResponse

    class RestrictedFetcher(URLFetcher):
        def fetch(self, url: str, headers: Any = None) -> URLFetcherResponse:
            if url in (*FONTS, *RARE_FONTS, SPARE_FONT):
                kind = f"font/{url.rpartition('.')[2]}"
                return URLFetcherResponse(url, font_bytes(url), {"Content-Type": kind})
            if url not in files:
                raise ValueError(f"The sheet may only load its own images and fonts, not {url}.")
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
