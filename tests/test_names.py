"""Names in the product's code: functions, constants, classes and loop variables."""

import ast
import re
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
APPS = ("workshop", "jobs", "reports")
VAGUE_FUNCTION = re.compile(r"told|said|of|only|between|\w+_in_words")
SUPERLATIVE_CONSTANT = re.compile(r"_?(MOST|LONGEST|LARGEST|FEWEST|LEAST|SHORTEST|SMALLEST|THINNEST)_")
# Django finds these by their name.
NAMED_BY_DJANGO = {"Command", "Migration"}


def modules() -> Iterator[tuple[str, ast.Module]]:
    for app in APPS:
        for path in sorted((ROOT / app).rglob("*.py")):
            yield str(path.relative_to(ROOT)), ast.parse(path.read_text(encoding="utf-8"))


def names_in(*targets: ast.AST) -> Iterator[str]:
    """Yield the names that are assigned in the targets, unpacked ones too."""
    for target in targets:
        yield from (node.id for node in ast.walk(target) if isinstance(node, ast.Name))


def constants(module: ast.Module) -> Iterator[str]:
    for node in module.body:
        if isinstance(node, ast.Assign):
            yield from names_in(*node.targets)
        elif isinstance(node, ast.AnnAssign):
            yield from names_in(node.target)


def test_functions_have_names_that_say_what_they_do() -> None:
    vague = [
        f"{path}: {node.name}"
        for path, module in modules()
        for node in ast.walk(module)
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)) and VAGUE_FUNCTION.fullmatch(node.name)
    ]
    assert vague == []


def test_limits_are_named_min_and_max() -> None:
    superlative = [
        f"{path}: {name}"
        for path, module in modules()
        for name in constants(module)
        if SUPERLATIVE_CONSTANT.match(name)
    ]
    assert superlative == []


def test_class_names_are_defined_in_one_module() -> None:
    paths = defaultdict(list)
    for path, module in modules():
        for node in module.body:
            if isinstance(node, ast.ClassDef) and node.name not in NAMED_BY_DJANGO:
                paths[node.name].append(path)
    assert {name: found for name, found in paths.items() if len(found) > 1} == {}


def test_loop_variables_name_their_element() -> None:
    unnamed = [
        path
        for path, module in modules()
        for node in ast.walk(module)
        if isinstance(node, (ast.For, ast.AsyncFor, ast.comprehension)) and "each" in names_in(node.target)
    ]
    unnamed += [
        str(path.relative_to(ROOT))
        for path in sorted((ROOT / "templates").rglob("*.html"))
        if re.search(r"{% for ([^%]*, *)?each\b[^%]* in ", path.read_text(encoding="utf-8"))
    ]
    assert unnamed == []
