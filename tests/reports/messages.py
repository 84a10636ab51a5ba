"""The texts that leave the shop in the customer's language, and their translations."""

import ast
import functools
import re
from collections.abc import Iterator
from pathlib import Path

from django.utils.translation.template import templatize
from lxml import html

from reports.typesetting.pdf import DocumentSource
from tests.reports.labels import find_labels
from workshop.models.engines import Side

ROOT = Path(__file__).parents[2]
LOCALE = ROOT / "reports" / "locale"
FUNCTIONS = {"_", "gettext", "gettext_lazy", "gettext_noop", "ngettext", "pgettext"}
TEXT = r"""u?(?:'(?:[^'\\]|\\.)*'|\"(?:[^\"\\]|\\.)*\")"""
CALL = re.compile(rf"n?p?gettext\((?:\s*{TEXT}\s*,?)+[^)]*\)")
MIN_WORDS = 4  # fewer may be what somebody typed
Message = tuple[str, str, str]  # context, text, plural


def python_files() -> Iterator[Path]:
    for folder in ("jobs", "reports", "workshop"):
        yield from sorted((ROOT / folder).rglob("*.py"))


def find_in_python(source: str) -> Iterator[Message]:
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call):
            continue
        name = getattr(node.func, "id", getattr(node.func, "attr", ""))
        if name not in FUNCTIONS and not name.endswith("gettext"):
            continue
        texts = [
            arg.value for arg in node.args if isinstance(arg, ast.Constant) and isinstance(arg.value, str)
        ]
        if not texts:
            continue  # a label from the facts, which is listed elsewhere
        if name.startswith("np") or name == "ngettext":
            yield "", texts[0], texts[1]
        elif name == "pgettext":
            yield from ((texts[0], text, "") for text in texts[1:])
        else:
            yield "", texts[0], ""


def find_messages() -> set[Message]:
    """Return every text of the product that is to be translated."""
    found: set[Message] = set()
    for path in python_files():
        found |= {*find_in_python(path.read_text(encoding="utf-8"))}
    for path in sorted((ROOT / "templates").rglob("*.html")):
        text = path.read_text(encoding="utf-8")
        if "i18n" in text:
            for call in CALL.findall(templatize(text)):
                found |= {*find_in_python(call)}
    valves = {("valve", side, "") for side in Side.labels}
    return found | {("", label, "") for label in find_labels()} | valves


def read_po(language: str) -> dict[Message, list[str]]:
    """Return the translations of a .po file whose strings are each on one line."""
    text = (LOCALE / language / "LC_MESSAGES" / "django.po").read_text(encoding="utf-8")
    found = {}
    for block in text.split("\n\n"):
        entry = dict(re.findall(r'^(msg\w+(?:\[\d\])?) "(.*)"$', block, re.M))
        if entry.get("msgid"):
            read = {key: ast.literal_eval(f'"{value}"') for key, value in entry.items()}
            strings = [value for key, value in sorted(read.items()) if key.startswith("msgstr")]
            found[read.get("msgctxt", ""), read["msgid"], read.get("msgid_plural", "")] = strings
    return found


def fixed_parts(message: str) -> list[str]:
    """Return the stretches of a text between its values that are long enough to be told from typed words."""
    parts = re.split(r"%\(\w+\)s", message.replace("%%", "%"))
    stripped = (" ".join(re.sub(r"<[^>]*>", "", part).split()).strip(" .,:;()") for part in parts)
    return [part for part in stripped if len(re.findall(r"[A-Za-z]{2,}", part)) >= MIN_WORDS]


@functools.cache
def english_sentences(language: str) -> frozenset[str]:
    """Return what must not be left in English on a paper in a language."""
    messages = read_po(language)
    return frozenset(part for _context, *forms in messages for form in forms for part in fixed_parts(form))


def english_left(text: str, language: str) -> list[str]:
    return sorted(part for part in english_sentences(language) if part in text)


def visible_text(page: str) -> str:
    """Return what is read on a page, the descriptions of its pictures included."""
    document = html.fromstring(page)
    described = [str(text) for text in document.xpath("//@alt | //@aria-label")]
    return " ".join(" ".join([document.text_content(), *described]).split())


def text_of(source: DocumentSource) -> str:
    """Return what is read on a document, its drawings included."""
    drawings = (data for data, kind in source.files.values() if kind == "image/svg+xml")
    drawn = (" ".join(html.fromstring(data).itertext()) for data in drawings)
    return " ".join([visible_text(source.html), *drawn])
