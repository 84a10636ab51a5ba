"""Imports run one way: reports -> jobs -> workshop; calc imports none of them and no Django."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from jobs.records import PACKAGES

ROOT = Path(__file__).resolve().parent.parent
OURS = ("workshop", "jobs", "reports", "fixtures", "tests")
MAY_USE = {
    "workshop": {"workshop", "jobs.calc"},
    "jobs": {"workshop", "jobs"},
    "reports": {"workshop", "jobs", "reports"},
}
# Wiring may import all: URLs, settings, and the command that builds the demo shop.
WIRING = ("workshop/urls.py", "workshop/settings.py", "workshop/management/commands/demo.py")


def imported(path: Path) -> Iterator[str]:
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
        for name in imported(path)
        if name.split(".")[0] in OURS
        and not any(name == allowed or name.startswith(f"{allowed}.") for allowed in MAY_USE[app])
    ]
    assert wrong == []


def test_migrations_import_no_product_code() -> None:
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in ROOT.glob("*/migrations/*.py")
        for name in imported(path)
        if name.split(".")[0] in OURS
    ]
    assert wrong == []


def test_calc_imports_numeric_libraries_and_itself_only() -> None:
    allowed = {"numpy", "scipy", "pandas", *sys.stdlib_module_names}
    wrong = [
        f"{path.name} imports {name}"
        for path in sources("jobs/calc")
        for name in imported(path)
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


def packages_of_records() -> list[Path]:
    return [path for path in sources("jobs") if path.relative_to(ROOT).parts[1] in PACKAGES]


def module_file(name: str) -> Path:
    return ROOT.joinpath(*name.split(".")).with_suffix(".py")


def modules_imported(path: Path) -> set[str]:
    """Every module that a file imports, also as a name of its package."""
    found = set(imported(path))
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def test_record_imports_only_records_above_it_on_the_ladder() -> None:
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in packages_of_records()
        for name in imported(path)
        if name.startswith("jobs.")
        and name.split(".")[1] in PACKAGES
        and PACKAGES.index(name.split(".")[1]) > PACKAGES.index(path.relative_to(ROOT).parts[1])
    ]
    assert wrong == []


RULES, CHARTS, FORMS, VIEWS, URLS = range(5)
# Types and rules by content, though their names sound like another role.
NAMED_OTHERWISE = {"job/section": RULES, "tunes/throttle_tables": RULES, "job/record": RULES}


def role(path: Path) -> int:
    """The role of a file in its package, by its name."""
    package, name = path.parent.name, path.stem
    if f"{package}/{name}" in NAMED_OTHERWISE:
        return NAMED_OTHERWISE[f"{package}/{name}"]
    if name == "urls":
        return URLS
    if name.endswith("views") or name in ("section", "sections", "record", "lookup", "form_page", "brief"):
        return VIEWS
    if "form" in name or name in ("fields", "table_field"):
        return FORMS
    return CHARTS if "chart" in name or name in ("tables", "roll_on_tables") else RULES


def test_file_imports_only_files_of_its_role_or_below() -> None:
    files = set(packages_of_records())
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in sorted(files)
        for name in modules_imported(path)
        if module_file(name) in files and role(module_file(name)) > role(path)
    ]
    assert wrong == []


def test_rules_know_no_requests_and_answers() -> None:
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in packages_of_records()
        if role(path) in (RULES, CHARTS)
        for name in imported(path)
        if name.startswith(("django.http", "django.shortcuts", "django.contrib.messages", "django.forms"))
    ]
    assert wrong == []


def test_jobs_name_no_relation_and_no_template_of_reports() -> None:
    upward = ("handover_sheets", '"reports/', "'reports/")
    pages = [path for path in (ROOT / "templates" / "jobs").rglob("*") if path.is_file()]
    wrong = [
        f"{path.relative_to(ROOT)} names {text}"
        for path in [*sources("jobs"), *pages]
        for text in upward
        if text in path.read_text(encoding="utf-8")
    ]
    assert wrong == []


def names_used(path: Path) -> set[str]:
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
    used = {path: names_used(path) for path in product}
    uncalled = [
        f"{path.relative_to(ROOT)}: {node.name}"
        for path in sources("jobs/calc")
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef)
        and not node.name.startswith("_")
        and not any(node.name in names for other, names in used.items() if other != path)
    ]
    assert uncalled == []
