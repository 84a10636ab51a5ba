"""Imports run one way: reports -> jobs -> workshop; the arithmetic uses nobody and knows no Django."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
OURS = ("workshop", "jobs", "reports", "fixtures", "tests")
MAY_USE = {
    "workshop": {"workshop", "jobs.calc"},
    "jobs": {"workshop", "jobs"},
    "reports": {"workshop", "jobs", "reports"},
}
# Wiring may name all: addresses, settings, and the command that builds the demo shop.
WIRING = ("workshop/urls/", "workshop/settings.py", "workshop/management/commands/demo.py")


def imported(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module


def sources(folder: str) -> list[Path]:
    return sorted((ROOT / folder).rglob("*.py"))


@pytest.mark.parametrize("app", MAY_USE)
def test_an_app_imports_only_what_stands_below_it(app: str) -> None:
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in sources(app)
        if not str(path.relative_to(ROOT)).startswith(WIRING)
        for name in imported(path)
        if name.split(".")[0] in OURS
        and not any(name == allowed or name.startswith(f"{allowed}.") for allowed in MAY_USE[app])
    ]
    assert wrong == []


def test_no_migration_imports_code_that_can_change() -> None:
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in ROOT.glob("*/migrations/*.py")
        for name in imported(path)
        if name.split(".")[0] in OURS
    ]
    assert wrong == []


def test_the_arithmetic_imports_numbers_and_itself_only() -> None:
    allowed = {"numpy", "scipy", "pandas", *sys.stdlib_module_names}
    wrong = [
        f"{path.name} imports {name}"
        for path in sources("jobs/calc")
        for name in imported(path)
        if name.split(".")[0] not in allowed and not name.startswith("jobs.calc")
    ]
    assert wrong == []


def test_the_arithmetic_runs_without_django() -> None:
    names = [path.relative_to(ROOT).with_suffix("") for path in sources("jobs/calc")]
    modules = [".".join(name.parts) for name in names if name.name != "__init__"]
    script = f"import {', '.join(modules)}; import sys; sys.exit('django' in sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


def test_site_start_loads_no_heavy_library() -> None:
    """No work at import: matplotlib, WeasyPrint and pandas wait until a page needs them."""
    script = (
        "import sys, django; django.setup();"
        "from django.urls import get_resolver; get_resolver().url_patterns;"
        "heavy = {'matplotlib', 'weasyprint', 'pandas', 'scipy'} & set(sys.modules);"
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
