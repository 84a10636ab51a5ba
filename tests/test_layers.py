"""Rules for imports: reports -> jobs -> workshop; calc imports neither them nor Django."""

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.apps import apps
from django.urls import URLResolver, get_resolver

from jobs import apps as jobs_apps
from jobs.records import PACKAGES
from reports import apps as reports_apps

ROOT = Path(__file__).resolve().parent.parent
OURS = ("workshop", "jobs", "reports", "fixtures", "tests")
MAY_USE = {
    "workshop": {"workshop", "jobs.calc"},
    "jobs": {"workshop", "jobs"},
    "reports": {"workshop", "jobs", "reports"},
}
# Wiring may import all: URLs, settings, and the command that builds the demo shop.
WIRING = ("workshop/urls.py", "workshop/settings.py", "workshop/management/commands/demo.py")


def imported_modules(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module


def sources(folder: str) -> list[Path]:
    return sorted((ROOT / folder).rglob("*.py"))


@pytest.mark.parametrize("app", MAY_USE)
def test_app_imports_lower_apps_only(app: str) -> None:
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in sources(app)
        if not str(path.relative_to(ROOT)).startswith(WIRING)
        for name in imported_modules(path)
        if name.split(".")[0] in OURS
        and not any(name == allowed or name.startswith(f"{allowed}.") for allowed in MAY_USE[app])
    ]
    assert wrong == []


def test_migrations_import_no_product_code() -> None:
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in ROOT.glob("*/migrations/*.py")
        for name in imported_modules(path)
        if name.split(".")[0] in OURS
    ]
    assert wrong == []


def test_calc_imports_numeric_libraries_and_itself_only() -> None:
    allowed = {"numpy", "scipy", "pandas", *sys.stdlib_module_names}
    wrong = [
        f"{path.name} imports {name}"
        for path in sources("jobs/calc")
        for name in imported_modules(path)
        if name.split(".")[0] not in allowed and not name.startswith("jobs.calc")
    ]
    assert wrong == []


def test_calc_runs_without_django() -> None:
    names = [path.relative_to(ROOT).with_suffix("") for path in sources("jobs/calc")]
    modules = [".".join(name.parts) for name in names if name.name != "__init__"]
    script = f"import {', '.join(modules)}; import sys; sys.exit('django' in sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


def test_site_start_imports_no_heavy_library() -> None:
    """Heavy libraries are imported when a page needs them."""
    script = (
        "import sys, django; django.setup();"
        "from django.urls import get_resolver; get_resolver().url_patterns;"
        "heavy = {'matplotlib', 'weasyprint', 'pandas', 'scipy', 'cattrs'} & set(sys.modules);"
        "sys.exit(str(heavy) if heavy else 0)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        env={"DJANGO_SETTINGS_MODULE": "tests.settings", "PATH": ""},
    )
    assert done.returncode == 0, done.stderr


def record_files() -> list[Path]:
    return [path for path in sources("jobs") if path.relative_to(ROOT).parts[1] in PACKAGES]


def module_file(name: str) -> Path:
    return ROOT.joinpath(*name.split(".")).with_suffix(".py")


def imported_modules_and_names(path: Path) -> set[str]:
    """Return all modules that a file imports, also as names of their package."""
    found = set(imported_modules(path))
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def test_record_imports_only_records_above_it_on_the_ladder() -> None:
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in record_files()
        for name in imported_modules(path)
        if name.startswith("jobs.")
        and name.split(".")[1] in PACKAGES
        and PACKAGES.index(name.split(".")[1]) > PACKAGES.index(path.relative_to(ROOT).parts[1])
    ]
    assert wrong == []


RULES, CHARTS, FACTS, FORMS, VIEWS, URLS = range(6)
# Types and rules by content, despite their names.
ROLE_EXCEPTIONS = {
    "job/section": RULES,
    "tunes/throttle_tables": RULES,
    "job/record": RULES,
    "job/facts": RULES,
}


def role(path: Path) -> int:
    """Return the role of a file in its package by its name."""
    package, name = path.parent.name, path.stem
    if f"{package}/{name}" in ROLE_EXCEPTIONS:
        return ROLE_EXCEPTIONS[f"{package}/{name}"]
    if name == "urls":
        return URLS
    if name.endswith("views") or name in ("section", "sections", "record", "lookup", "form_page", "brief"):
        return VIEWS
    if "form" in name or name in ("fields", "table_field"):
        return FORMS
    if name == "facts":
        return FACTS
    return CHARTS if "chart" in name or name in ("tables", "roll_on_tables") else RULES


def test_file_imports_only_files_of_its_role_or_below() -> None:
    files = set(record_files())
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in sorted(files)
        for name in imported_modules_and_names(path)
        if module_file(name) in files and role(module_file(name)) > role(path)
    ]
    assert wrong == []


def test_rules_import_no_requests_responses_or_forms() -> None:
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in record_files()
        if role(path) in (RULES, CHARTS)
        for name in imported_modules(path)
        if name.startswith(("django.http", "django.shortcuts", "django.contrib.messages", "django.forms"))
    ]
    assert wrong == []


ABOVE = {"workshop": {"jobs", "reports"}, "jobs": {"reports"}}
# The page frame and the error pages belong to the project, like its URLs and settings.
FRAME = {
    "base.html",
    "includes/_bar.html",
    "includes/_shortcuts.html",
    "400.html",
    "403.html",
    "404.html",
    "500.html",
    "507.html",
}
TEMPLATES = ROOT / "templates"


def apps_of_urls() -> dict[str, str]:
    """Return the app that serves every named URL."""
    found: dict[str, str] = {}
    open_patterns = list(get_resolver().url_patterns)
    while open_patterns:
        pattern = open_patterns.pop()
        if isinstance(pattern, URLResolver):
            open_patterns += pattern.url_patterns
        elif pattern.name:
            found[pattern.name] = pattern.callback.__module__.split(".")[0]
    return found


def relations_from(above: set[str], app: str) -> set[str]:
    """Return the names by which models of an app reach models of the apps above it."""
    return {
        name
        for model in apps.get_app_config(app).get_models()
        for relation in model._meta.related_objects
        if relation.related_model._meta.app_label in above
        for name in (relation.get_accessor_name(), relation.name)
        if name and not relation.hidden
    }


def templates_of(app: str) -> list[Path]:
    """Return the templates of an app; those of no app belong to the lowest one."""
    pages = {path.relative_to(TEMPLATES): path for path in TEMPLATES.rglob("*") if path.is_file()}
    apart = {"jobs", "reports"} - {app}
    return [
        path
        for name, path in pages.items()
        if (name.parts[0] not in apart if app == "workshop" else name.parts[0] == app)
        if str(name) not in FRAME
    ]


def product_sources(app: str) -> list[Path]:
    """Return the code of an app without its wiring and its migrations, which are history."""
    return [
        path
        for path in sources(app)
        if not str(path.relative_to(ROOT)).startswith(WIRING) and "migrations" not in path.parts
    ]


def find_strings(tree: ast.AST) -> set[str]:
    return {
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }


def find_url_names(path: Path) -> set[str]:
    """Return what a file passes to URL functions, and texts that look like URL names by their hyphen."""
    text = path.read_text(encoding="utf-8")
    if path.suffix != ".py":
        quoted = re.findall(r"""["']([\w-]+-[\w-]+)["']""", " ".join(re.findall(r"{%.*?%}", text)))
        return {*quoted, *re.findall(r"""{%-?\s*url\s+["']([^"']+)""", text)}
    makers = {"reverse", "reverse_lazy", "redirect", "resolve_url"}
    tree = ast.parse(text)
    return {name for name in find_strings(tree) if "-" in name} | {
        name
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in makers
        for argument in node.args[:1]
        for name in find_strings(argument)
    }


@pytest.mark.parametrize("app", ABOVE)
def test_app_uses_no_url_of_an_app_above_it(app: str) -> None:
    above = {name for name, owner in apps_of_urls().items() if owner in ABOVE[app]}
    named = {path: find_url_names(path) for path in [*product_sources(app), *templates_of(app)]}
    assert {
        str(path.relative_to(ROOT)): names & above for path, names in named.items() if names & above
    } == {}


@pytest.mark.parametrize("app", ABOVE)
def test_app_uses_no_relation_of_an_app_above_it(app: str) -> None:
    above = relations_from(ABOVE[app], app)
    assert above, "no model of the apps above points at this app"
    lookups = {
        path: {part for text in find_strings(ast.parse(path.read_text("utf-8"))) for part in text.split("__")}
        | find_used_names(path)
        for path in product_sources(app)
    }
    lookups |= {
        path: {
            part
            for code in re.findall(r"{[{%].*?[}%]}", path.read_text("utf-8"))
            for part in re.findall(r"\.(\w+)", code)
        }
        for path in templates_of(app)
    }
    assert {
        str(path.relative_to(ROOT)): names & above for path, names in lookups.items() if names & above
    } == {}


@pytest.mark.parametrize("app", ABOVE)
def test_app_uses_no_template_or_tag_of_an_app_above_it(app: str) -> None:
    folders = tuple(f"{quote}{above}/" for above in ABOVE[app] for quote in "\"'")
    tags = {path.stem for above in ABOVE[app] for path in (ROOT / above / "templatetags").glob("[a-z]*.py")}
    wrong = [
        f"{path.relative_to(ROOT)} names {name}"
        for path in [*product_sources(app), *templates_of(app)]
        for text in [path.read_text(encoding="utf-8")]
        for name in [
            *(folder for folder in folders if folder in text),
            *(tag for loaded in re.findall(r"{% load ([^%]+)%}", text) for tag in {*loaded.split()} & tags),
        ]
    ]
    assert wrong == []


def test_every_addition_has_a_place_in_a_template() -> None:
    places = {
        path: set(re.findall(r"""{% additions "([^"]+)" %}""", path.read_text(encoding="utf-8")))
        for app in ABOVE
        for path in templates_of(app)
    }
    added = {place for above in (jobs_apps, reports_apps) for place, _ in above.ADDITIONS}
    assert added == set().union(*places.values())


def find_used_names(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Name):
            found.add(node.id)
        elif isinstance(node, ast.Attribute):
            found.add(node.attr)
        elif isinstance(node, ast.ImportFrom):
            found |= {alias.name for alias in node.names}
    return found


def test_product_calls_every_public_function_of_calc() -> None:
    product = [path for app in ("workshop", "jobs", "reports", "fixtures") for path in sources(app)]
    used = {path: find_used_names(path) for path in product}
    uncalled = [
        f"{path.relative_to(ROOT)}: {node.name}"
        for path in sources("jobs/calc")
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef)
        and not node.name.startswith("_")
        and not any(node.name in names for other, names in used.items() if other != path)
    ]
    assert uncalled == []
