"""What PDF/A-3a (ISO 19005-3) and PDF/UA-1 (ISO 14289-1) ask of every document, clause by clause.

No validator runs here; the clauses below are those that a document of ours could break.
"""

import re
from collections import Counter
from collections.abc import Iterator
from typing import Any
from xml.etree import ElementTree

import pikepdf
import pytest

from reports.handover.sheet import sheet_pdf
from tests.reports.reading import opened

UA = "{http://www.aiim.org/pdfua/ns/id/}"
A = "{http://www.aiim.org/pdfa/ns/id/}"
SCHEMA = "{http://www.aiim.org/pdfa/ns/schema#}"
PROPERTY = "{http://www.aiim.org/pdfa/ns/property#}"
RDF = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"
DC = "{http://purl.org/dc/elements/1.1/}"


@pytest.fixture
def sheet(pdf: bytes) -> Iterator[pikepdf.Pdf]:
    """Open the sheet of a job with every kind of record."""
    with opened(pdf) as document:
        yield document


def read_metadata(document: pikepdf.Pdf) -> ElementTree.Element:
    return ElementTree.fromstring(document.Root.Metadata.read_bytes())


def structure(element: Any) -> Iterator[Any]:
    """Yield every element of the structure tree."""
    if isinstance(element, pikepdf.Array):
        for child in element:
            yield from structure(child)
    elif isinstance(element, pikepdf.Dictionary) and "/S" in element:
        yield element
        yield from structure(element.get("/K", pikepdf.Array()))


def test_metadata_names_both_standards(sheet) -> None:
    """ISO 19005-3, 6.6.4 and ISO 14289-1, 5."""
    found: dict[str, str] = {}
    for description in read_metadata(sheet).iter(f"{RDF}Description"):
        found |= description.attrib
    assert (found[f"{A}part"], found[f"{A}conformance"], found[f"{UA}part"]) == ("3", "A", "1")


def test_identifier_of_pdf_ua_is_described_for_pdf_a(sheet) -> None:
    """ISO 19005-3, 6.6.2.3: a property that PDF/A does not know needs a description of its schema."""
    metadata = read_metadata(sheet)
    assert [found.text for found in metadata.iter(f"{SCHEMA}namespaceURI")] == [UA.strip("{}")]
    assert [found.text for found in metadata.iter(f"{SCHEMA}prefix")] == ["pdfuaid"]
    (described,) = metadata.iter(f"{SCHEMA}property")
    kinds = {PROPERTY + name: text for name, text in (("name", "part"), ("valueType", "Integer"))}
    assert {found.tag: found.text for found in described.iter()}.items() >= kinds.items()


def test_metadata_is_one_description_without_filter_on_the_packet(sheet) -> None:
    """ISO 16684-1: one RDF element in the packet; ISO 19005-3, 6.6.2.1: its header as it is written there."""
    data = sheet.Root.Metadata.read_bytes()
    assert data.startswith(b'<?xpacket begin="" id="W5M0MpCehiHzreSzNTczkc9d"?>')
    assert len(list(read_metadata(sheet).iter(f"{RDF}RDF"))) == 1


def test_title_is_shown_and_the_language_is_named(sheet) -> None:
    """ISO 14289-1, 7.1 and 7.2."""
    assert bool(sheet.Root.ViewerPreferences.DisplayDocTitle)
    assert str(sheet.Root.Lang) == "en"
    assert bool(sheet.Root.MarkInfo.Marked)
    (title,) = read_metadata(sheet).iter(f"{DC}title")
    assert "".join(title.itertext()).strip() == str(sheet.docinfo.Title)


def test_attachments_are_listed_once_and_described(sheet) -> None:
    """ISO 19005-3, 6.8 and ISO 32000-2, 7.11.3: related, named, typed; AF holds each of them."""
    files = list(sheet.Root.AF)
    names = Counter(str(found.UF) for found in files)
    assert set(names.values()) == {1}
    assert {"curves.csv", "clearances.csv", "runs.csv", "sheet.json"} <= set(names)
    assert set(names) == set(sheet.attachments)
    for found in files:
        assert str(found.AFRelationship) == "/Source"
        assert len(str(found.Desc)) > 10
        assert re.fullmatch(r"/\w+/[\w.+-]+", str(found.EF.F.Subtype))


def test_every_picture_and_link_has_words(sheet) -> None:
    """ISO 14289-1, 7.3 and 7.18.5: alternate descriptions of figures, contents of link annotations."""
    figures = [element for element in structure(sheet.Root.StructTreeRoot.K) if element.S == "/Figure"]
    assert len(figures) >= 4
    assert all(str(figure.get("/Alt", "")).strip() for figure in figures)
    links = [note for page in sheet.pages for note in page.get("/Annots", []) if note.Subtype == "/Link"]
    assert links
    assert all(str(link.get("/Contents", "")).strip() and "/StructParent" in link for link in links)


def test_pages_with_annotations_follow_the_structure(sheet) -> None:
    """ISO 14289-1, 7.18.3: the tab order is that of the structure."""
    assert {str(page.Tabs) for page in sheet.pages} == {"/S"}


def test_fonts_are_embedded(sheet) -> None:
    """ISO 19005-3, 6.2.11.4.1 and ISO 14289-1, 7.21.4."""
    descriptors = [
        found
        for found in sheet.objects
        if isinstance(found, pikepdf.Dictionary) and found.get("/Type") == "/FontDescriptor"
    ]
    assert descriptors
    assert all({"/FontFile2", "/FontFile3"} & set(found.keys()) for found in descriptors)


def test_identifier_says_nothing_about_the_time_of_printing(snapshot, pdf) -> None:
    assert sheet_pdf(snapshot) == pdf
