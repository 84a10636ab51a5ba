"""Paths, pictures and make targets named in the guides exist."""

import re
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path

import pytest

from jobs.records import PACKAGES

ROOT = Path(__file__).resolve().parent.parent
GUIDES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "jobs" / "calc" / "README.md"]
FOLDERS = ("workshop", "jobs", "reports", "templates", "static", "tests", "fixtures", ".ci")


def named_paths(text: str) -> set[str]:
    code = re.findall(r"`([^`\s]+)`", text) + re.findall(r"\]\(([^)\s]+)\)", text)
    paths = {name.split("::")[0].rstrip("/") for name in code if name.split("/")[0] in FOLDERS}
    return {path for path in paths if not re.search(r"[<>*{}]|NAME", path)}


@pytest.mark.parametrize("guide", GUIDES, ids=lambda guide: str(guide.relative_to(ROOT)))
def test_paths_named_in_a_guide_exist(guide: Path) -> None:
    paths = named_paths(guide.read_text(encoding="utf-8"))
    assert paths
    assert [path for path in sorted(paths) if not (ROOT / path).exists()] == []


def test_make_targets_named_in_guides_exist() -> None:
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    targets = set(re.findall(r"^(\w+):", makefile, re.MULTILINE))
    named = {
        target
        for guide in GUIDES
        for target in re.findall(r"\bmake (\w+)(?=[`\n]|\s+#)", guide.read_text(encoding="utf-8"))
    }
    assert named
    assert named <= targets


def exists(name: str) -> bool:
    """Return True if a path, a module or a class of a module exists."""
    if "/" in name:
        return (ROOT / name).exists()
    module, _, last = name.rpartition(".")
    return find_spec(name) is not None if not last[0].isupper() else hasattr(import_module(module), last)


def test_package_docstring_names_existing_paths_in_a_few_lines() -> None:
    wrong = {}
    for path in ROOT.glob("jobs/*/__init__.py"):
        text = path.read_text(encoding="utf-8")
        names = re.findall(r"\b((?:templates|tests|static)/\w[\w/]*|(?:jobs|workshop)\.[\w.]*\w)", text)
        missing = [name for name in names if not exists(name)]
        if path.parent.name in PACKAGES and (missing or not text.startswith('"""') or text.count("\n") > 10):
            wrong[path.parent.name] = missing
    assert wrong == {}
