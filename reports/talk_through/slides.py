"""The talk-through as slides: PDF pages of 16 to 9, and a picture of each."""

import io
import zipfile
from base64 import b64decode
from collections.abc import Sequence
from datetime import datetime

from django.template.loader import render_to_string

from reports.handover.snapshot.schema import Snapshot
from reports.talk_through.steps import Step
from reports.typesetting.pdf import DocumentSource, typeset
from reports.typesetting.printing_lock import printing_lock

SLIDE = "338.67mm 190.5mm"
PICTURE_WIDTH_PX = 1920
LOGO = "sheet:logo"
# The dark tokens of the style sheets as plain colours: a picture in a PDF knows no tokens.
LOOK = """
text { font-size: 22px; fill: #b9c4c6; font-family: "Sheet Sans"; }
.strong, .row { fill: #eef2f2; } .row { font-size: 19px; } .in-cell { font-size: 18px; fill: #151b1e; }
.grid { stroke: #39464a; fill: none; } .zero { stroke: #b9c4c6; fill: none; }
.marked { fill: #173c45; } .line { fill: none; stroke-width: 4; }
.line.before { stroke: #a9b3b6; stroke-dasharray: 9 6; stroke-width: 3; } .line.after { stroke: #5cc3d8; }
.line.other-1 { stroke: #f0a25a; stroke-dasharray: 14 5; }
.line.other-2 { stroke: #b9a0f0; stroke-dasharray: 4 5; }
.line.other-3 { stroke: #9bd08a; stroke-dasharray: 16 5 4 5; }
.band { stroke: none; fill: #5cc3d8; fill-opacity: 0.2; } .band.before { fill: #a9b3b6; }
.label { font-weight: 700; } .label.before { fill: #a9b3b6; } .label.after { fill: #5cc3d8; }
.label.other-1 { fill: #f0a25a; } .label.other-2 { fill: #b9a0f0; } .label.other-3 { fill: #9bd08a; }
.range { fill: #1e4630; stroke: #79c898; } .moved { stroke: #a9b3b6; stroke-width: 2; }
circle.before { fill: #10181b; stroke: #a9b3b6; stroke-width: 3; } circle.after { fill: #5cc3d8; }
.cell { stroke: #10181b; } .none { fill: none; } .even { fill: #f4f6f5; }
.lean-1 { fill: #fae5cc; } .lean-2 { fill: #f3c48f; } .lean-3 { fill: #e79a4d; }
.rich-1 { fill: #dbe8f3; } .rich-2 { fill: #aecbe4; } .rich-3 { fill: #79a9d2; }
.few { stroke-dasharray: 4 4; stroke: #4a555a; }
"""


def slides_pdf(snapshot: Snapshot, steps: Sequence[Step], at: datetime) -> bytes:
    """Return the steps as pages of 16 to 9."""
    files = {
        f"sheet:chart-{step.key}-{place}.svg": (standalone(chart.svg).encode(), "image/svg+xml")
        for step in steps
        for place, chart in enumerate(step.charts)
    }
    logo = snapshot.shop.logo
    if logo:
        files[LOGO] = (b64decode(logo.base64), logo.type)
    context = {"s": snapshot, "steps": steps, "logo": bool(logo)}
    html = render_to_string("reports/talk_through/slides.html", context)
    return typeset(DocumentSource(html, files, SLIDE), styles=["talk_through/slides.css"], at=at)


def standalone(svg: str) -> str:
    """Return a chart of a page as a file with its own look."""
    head, _, rest = svg.partition(">")
    return f'{head} xmlns="http://www.w3.org/2000/svg"><style>{LOOK}</style>{rest}'


def pictures_zip(pdf: bytes) -> bytes:
    """Return a PNG picture of each page of a PDF, in a ZIP file."""
    import pypdfium2

    out = io.BytesIO()
    with printing_lock(), zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        document = pypdfium2.PdfDocument(pdf)
        for number, page in enumerate(document, start=1):
            image = page.render(scale=PICTURE_WIDTH_PX / page.get_width()).to_pil()
            picture = io.BytesIO()
            image.save(picture, "PNG")
            # A fixed date, so that the same pages make the same file.
            archive.writestr(zipfile.ZipInfo(f"{number:02}.png"), picture.getvalue())
        document.close()
    return out.getvalue()
