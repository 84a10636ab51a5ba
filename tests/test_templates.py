"""Templates contain nothing that the security policy forbids or htmx without eval ignores."""

import re
from pathlib import Path

import pytest
from django.template.loader import render_to_string
from django.urls import get_resolver

ROOT = Path(__file__).resolve().parent.parent
TEMPLATES = sorted(p for p in (ROOT / "templates").rglob("*") if p.is_file())

FORBIDDEN = {
    "unescaped text": r"\|\s*safe\b|\|\s*safeseq\b|{%\s*autoescape\s+off",
    "an external URL": (
        r"""(?:src|href|action|content|hx-get|hx-post)\s*=\s*["'](?:https?:)?//"""
        r"""|url\(\s*["']?(?:https?:)?//|@import"""
    ),
    "a javascript: URL": r"javascript:",
    "a style attribute": r"<[^>]*\sstyle\s*=",
    "a style element": r"<style\b",
    "a script in the page": r"<script\b(?![^>]*\ssrc\s*=)",
    "an event handler": r"""<[^>]*\son[a-z]+\s*=\s*["']""",
    "hx-on": r"\bhx-on\b",
    "hx-vals or hx-headers with js:": r"""\bhx-(?:vals|headers|request)\s*=\s*["']\s*(?:js|javascript):""",
    "a filter in hx-trigger": r"""\bhx-trigger\s*=\s*(?:"[^"]*\[|'[^']*\[)""",
}


def find_forbidden_markup(text: str) -> list[str]:
    return [
        f"line {text.count(chr(10), 0, found.start()) + 1}: {what}: {found[0][:60]!r}"
        for what, pattern in FORBIDDEN.items()
        for found in re.finditer(pattern, text, re.IGNORECASE)
    ]


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda p: p.relative_to(ROOT / "templates").as_posix())
def test_template_contains_no_forbidden_markup(path: Path) -> None:
    text = re.sub(r"{#.*?#}", "", path.read_text(encoding="utf-8"))
    assert find_forbidden_markup(text) == []


@pytest.mark.parametrize(
    "bad",
    [
        '<p style="color: red">',
        "<style>p { color: red }</style>",
        "<script>alert(1)</script>",
        '<button onclick="go()">',
        '<button hx-on:click="go()">',
        '<a hx-on::after-request="go()">',
        "<form hx-vals='js:{a: 1}'>",
        '<input hx-trigger="keyup[ctrlKey] delay:1s">',
        '<link rel="stylesheet" href="https://example.org/a.css">',
        '<script src="//example.org/a.js"></script>',
        "{{ note|safe }}",
        "{{ note | safe }}",
        "{% autoescape off %}",
        '<a href="javascript:go()">',
    ],
)
def test_forbidden_markup_is_detected(bad: str) -> None:
    assert find_forbidden_markup(bad)


@pytest.mark.parametrize(
    "good",
    [
        '{{ chart|json_script:"chart-1" }}',
        '<script src="{% static \'js/app.js\' %}" type="module"></script>',
        '<input hx-trigger="change delay:300ms, search" data-online="yes">',
        '<link rel="stylesheet" href="{% static \'css/app.css\' %}">',
        "<a href=\"{% url 'today' %}\">Once on the bench</a>",
    ],
)
def test_allowed_markup_passes(good: str) -> None:
    assert find_forbidden_markup(good) == []


def find_names(pattern: str) -> dict[str, str]:
    """Return all names that a pattern finds, with the first template of each."""
    found: dict[str, str] = {}
    for path in TEMPLATES:
        for name in re.findall(pattern, path.read_text(encoding="utf-8")):
            found.setdefault(name, path.relative_to(ROOT).as_posix())
    return found


def test_static_files_in_templates_exist() -> None:
    names = find_names(r"{% static '([^']+)'")
    assert "css/app.css" in names
    assert {name: where for name, where in names.items() if not (ROOT / "static" / name).is_file()} == {}


def test_included_templates_exist() -> None:
    names = find_names(r"""{% (?:include|extends) ["']([^"']+)["']""")
    known = {p.relative_to(ROOT / "templates").as_posix() for p in TEMPLATES}
    assert "base.html" in names
    assert {name: where for name, where in names.items() if name not in known} == {}


def test_url_names_in_templates_exist() -> None:
    """Include names fetched with `as`, which would be silently empty."""
    names = find_names(r"{% url '([^']+)'")
    known = get_resolver().reverse_dict
    assert "today" in names
    assert {name: where for name, where in names.items() if name not in known} == {}


def test_style_sheets_use_no_container_units() -> None:
    """Chromium 156 sometimes skips the layout of such a container while a script measures it."""
    asks = re.compile(r"\bcontainer(-type|-name)?\s*:|@container|\dcq[iwhb]\b|\dcqm(in|ax)\b")
    styles = sorted((ROOT / "static" / "css").glob("*.css"))
    assert styles
    assert [style.name for style in styles if asks.search(style.read_text(encoding="utf-8"))] == []


IMPORT = re.compile(r"""^import [^;]*?["'](\./[^"']+)["'];""", re.MULTILINE)


def with_imports(scripts: set[Path]) -> set[Path]:
    found = {
        (script.parent / name).resolve()
        for script in scripts
        if script.suffix == ".js"
        for name in IMPORT.findall(script.read_text(encoding="utf-8"))
    }
    return scripts if found <= scripts else with_imports(scripts | found)


def test_every_style_sheet_and_script_is_used() -> None:
    """A file is unused if no template names it and no script imports it."""
    ours = {path for folder in ("css", "js") for path in (ROOT / "static" / folder).iterdir()}
    named_files = {ROOT / "static" / name for name in find_names(r"{% static '([^']+)'")}
    assert ours - with_imports(named_files & ours) == set()


def test_every_export_is_imported() -> None:
    scripts = [path.read_text(encoding="utf-8") for path in (ROOT / "static" / "js").glob("*.js")]
    exported = {
        name for text in scripts for name in re.findall(r"^export (?:const|function) (\w+)", text, re.M)
    }
    imports = [names for text in scripts for names in re.findall(r"^import \{([^}]*)\}", text, re.M)]
    assert "formatNumber" in exported
    assert exported - {name.strip() for names in imports for name in names.split(",")} == set()


def test_scripts_are_loaded_as_modules() -> None:
    """The theme script is the exception: a module would run after the first paint."""
    tags = find_names(r"<script\b[^>]*{% static 'js/[^>]*>")
    plain = {tag for tag in tags if 'type="module"' not in tag}
    assert len(tags) > 1
    assert plain == {"<script src=\"{% static 'js/theme.js' %}\">"}


@pytest.mark.parametrize(
    ("status", "text"),
    [
        (400, "We could not read this request"),
        (403, "does not have the role"),
        (404, "There is no page at this address"),
        (500, "This is a fault in the program"),
    ],
)
def test_error_pages_render_without_a_request(status: int, text: str) -> None:
    """Django renders the 500 page without a request."""
    page = render_to_string(f"{status}.html")
    assert text in page
    assert "<title>" in page
    assert "Go to Today" not in page
