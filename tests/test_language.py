"""What people read is plain English: wordings that must not come back, in templates, scripts and modules."""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
APPS = ("workshop", "jobs", "reports")
# Files whose strings are no sentences of ours: words that files of others use, and texts of stored databases.
NO_TEXTS = {"jobs/calc/channels.py", "jobs/calc/units/factors.py"}

AVOIDED = {
    r"\bput(ting)? (it |this |them )?right\b": "fix, correct",
    r"\b(?<!track )(stands?|stood|standing)\b(?! (behind|beside|clear|still|by|alone|or))": "is, shows",
    r"\b(is|was|be|stays?) kept\b|\bKept\b|\bkept (in|at|with|here|as)\b": "saved, stored",
    r"\btells? (of|more|far)\b|can(no|'|’)t be told\b": "shown, known, certain",
    r"^(Where|Only where)\b|[,;:] where (it|the|an?|there|nothing|nobody|somebody|that)\b": "if",
    r"\b(whom|who hands)\b|\b[Ww]hoever\b": "name the role, or “you”",
    r"\b(somebody|everybody|nobody yet)\b": "someone, everyone, not assigned",
    r"\b(meanwhile|anew|otherwise than|all the same)\b": "in the meantime, again, differently, anyway",
    r"\btak(e|es|en) (it |them )?(off|back|together|up)\b": "remove, undo, merge, use",
    r"\bgoes (before|for|in its place)\b": "overrides, is for, replaces",
    r"\bcomes? to mean\b": "means",
    r"\b(signs|blanks?)\b": "characters, spaces",
    r"\bmakers?('s|’s)?\b": "manufacturer, make",
    r"\b1/min\b": "rpm",
    r"\b[Ss]et(s)? aside\b": "exclude",
    r"\b(drawer|left[ -]over|books? out|booked out)\b": "stock, removed shims, take from stock",
    r"\bon the roller\b|\b[Dd]rive-outs?\b": "on the dyno, roll-on",
    r"\bwork(ed|s)? (it )?out\b|\breckon(ed)?\b|\b(un|not )?believable\b": "calculate, plausible",
    r"\b([Cc]a|[Dd]o|[Ii]s|[Dd]oes|[Ww]o|[Cc]ould|[Dd]id|[Ww]as|[Aa]re|[Hh]as)n['’]t\b": "cannot, do not",
    r"\b[Ee]-mail": "email",
    r"\b[Ll]ook (at|whether|again|for)\b": "check, search",
    r"\bdrive out of the turn\b": "roll-on, mid-range",
    r"\bno difference shown\b": "no clear difference",
    r"\bpromised and late\b": "overdue",
    r"\bshut days\b|\bdays shut\b|\bis shut\b": "closed",
    r"\bgive (the|its|their) places? free\b": "cancel the slot",
    r"\bover-run\b": "overrun",
    r"\bblueprint": "target",
    r"\b[Tt]hr(ow|own|ew) away\b": "delete",
    r"\bwhat (is|was|you) typed\b": "your entries, your draft",
    r"\b[Pp]ut back\b": "restore, include again",
    r"\b[Nn]ot (yet )?sent: (no network|you)|\bnot yet sent\b": "not saved, not uploaded",
    r"\b[Bb]ack without (saving|booking)\b": "Cancel",
    r"\b[Ww]hat (happened|differs)\b": "change log, differences",
    r"(?<!here )\bis no (active|unit|task|file|backup|band)\b": "is not a",
    r"\b(is|was|lies?) beyond\b": "outside",
    r"\brests? (on|at)\b": "uses, is at",
    r"\bdo not belong together\b": "must have the same number of samples",
    r"\bleft out\b": "skipped, not used",
    r"\bbyte for byte\b": "download",
    r"\bof now\b": "fitted now",
    r"\bis past\b|\blies in the (future|past)\b": "is in the past",
    r"\bsame moment\b": "same time",
    r"\b(log|program) says\b": "see the server log",
    r"\bturns for one of\b": "turns per",
    r"\b(several|some) percent\b": "a few percent",
    r"\bno (part|change|tune|run) on record\b": "none of these",
    r"\bpush(es)? the bike (on|forward)\b": "keeps the bike pulling",
    r"\bfor racing only\b": "for race use only",
    r"\b[Bb]ike diary\b": "timeline",
    r"\b(Add|Edit|Set) (a |the |their )?kinds?\b|\b[Kk]inds? of (run|part|change|engine)\b": "type",
    r"\bOf true differences\b|\bas many more\b": "a real difference, the same number again",
}
# Texts that may contain such a word, each with the reason.
ALLOWED = {
    "Where to change up": "a place: the engine speeds",
    "What is kept, and why": "the heading of what an erasure keeps",
}
# The same for texts of which only a part is fixed.
ALLOWED_PARTS = {
    "geometry, stand and headlamp": "a stand is a part of the bike",
    "(?:removed|missing": "finds what people typed",
    "shut-days-": "an id that forms use",
    "put back as built": "a part refitted as the manufacturer built it",
}


def template_texts(path: Path) -> Iterator[str]:
    """Yield what a template shows: its text, and the attributes and arguments that are read or heard."""
    source = re.sub(r"{#.*?#}|{% comment %}.*?{% endcomment %}|<!--.*?-->", "", path.read_text(), flags=re.S)
    for quoted in re.findall(r"{%[^%]*%}", source):
        yield from (text for text in re.findall(r'"([^"]*)"', quoted) if " " in text)
    source = re.sub(r"{{.*?}}", "…", source, flags=re.S)
    source = re.sub(r"{%.*?%}", "", source, flags=re.S)
    yield from re.findall(r'(?:aria-label|placeholder|alt|title|data-tip)="([^"]*)"', source)
    yield from re.split(r"<[^>]*>", source)


def python_texts(path: Path) -> Iterator[str]:
    """Yield the strings of a module that may be shown: no docstrings, and no words without a blank."""
    tree = ast.parse(path.read_text())
    docstrings = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    within = {id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for part in node.values}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            yield "".join(str(p.value) if isinstance(p, ast.Constant) else "…" for p in node.values)
            continue
        text = node.value if isinstance(node, ast.Constant) else None
        if isinstance(text, str) and " " in text and id(node) not in within | docstrings:
            yield text


def script_texts(path: Path) -> Iterator[str]:
    """Yield the strings of a script that may be shown, and none without a space."""
    source = re.sub(r"/\*.*?\*/|^\s*//.*$", "", path.read_text(), flags=re.S | re.M)
    for text in re.findall(r'"([^"\n]*)"', source) + re.findall(r"`([^`]*)`", source):
        if " " in text:
            yield re.sub(r"\$\{.*?\}", "…", text)


@cache
def shown_texts() -> dict[str, list[str]]:
    """Return the texts that people read, by file."""
    found = {}
    for path in sorted((ROOT / "templates").rglob("*.html")):
        found[path.relative_to(ROOT).as_posix()] = [*template_texts(path)]
    for path in sorted([*(ROOT / "static" / "js").glob("*.js"), *(ROOT / "templates").rglob("*.js")]):
        found[path.relative_to(ROOT).as_posix()] = [*script_texts(path)]
    for path in sorted(path for app in APPS for path in (ROOT / app).rglob("*.py")):
        name = path.relative_to(ROOT).as_posix()
        if "/migrations/" not in name and name not in NO_TEXTS:
            found[name] = [*python_texts(path)]
    return {name: [" ".join(text.split()) for text in texts if text.strip()] for name, texts in found.items()}


def is_allowed(text: str) -> bool:
    return text in ALLOWED or any(part in text for part in ALLOWED_PARTS)


@pytest.mark.parametrize("pattern", AVOIDED)
def test_wording_is_not_used(pattern: str) -> None:
    faults = [
        f"{name}: {text}"
        for name, texts in shown_texts().items()
        for text in texts
        if re.search(pattern, text) and not is_allowed(text)
    ]
    assert faults == [], f"Instead: {AVOIDED[pattern]}."


def test_every_exception_is_still_needed() -> None:
    texts = {text for texts in shown_texts().values() for text in texts}
    assert set(ALLOWED) - texts == set()
    assert {part for part in ALLOWED_PARTS if not any(part in text for text in texts)} == set()


@pytest.mark.parametrize(
    "text",
    [
        "Please put this right",
        "12 000 1/min",
        "It can't be told",
        "Where the list fits, skip",
        "left over",
        "Throw away",
    ],
)
def test_patterns_find_the_old_wording(text: str) -> None:
    assert any(re.search(pattern, text) for pattern in AVOIDED)
