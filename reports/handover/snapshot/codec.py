"""Snapshots to and from JSON, by the classes of ``schema``."""

import hashlib
import json
from dataclasses import Field, fields, is_dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, TypeVar

from reports.handover.snapshot.schema import Snapshot

if TYPE_CHECKING:
    from cattrs import Converter

T = TypeVar("T")
SNAPSHOTS = {1: Snapshot}  # by format number; every format ever stored stays here


def to_json(snapshot: Snapshot) -> dict[str, Any]:
    """Return the snapshot as it is stored."""
    stored: dict[str, Any] = converter().unstructure(snapshot)
    return stored


def from_json(stored: dict[str, Any]) -> Snapshot:
    """Return a stored snapshot; keys without a field are passed over.

    Raises
    ------
    KeyError
        The format is none of ``SNAPSHOTS``.
    """
    return structure(stored, SNAPSHOTS[stored["format"]])


def structure(stored: Any, kind: type[T]) -> T:
    """Return plain JSON values as one of the classes of ``schema``."""
    return converter().structure(stored, kind)


@cache
def converter() -> "Converter":
    # Imported here: only printing needs it, not every start of the site.
    from cattrs import Converter
    from cattrs.gen import make_dict_structure_fn, make_dict_unstructure_fn, override
    from cattrs.strategies import configure_union_passthrough

    def keys(kind: type) -> dict[str, Any]:
        return {
            each.name: override(rename=json_key(each), omit_if_default="left_out_if_none" in each.metadata)
            for each in fields(kind)
        }

    made = Converter(detailed_validation=False)
    # Stored figures are kept as they are: 3 stays 3 where a float is expected, so that JSON stays the same.
    for plain in (str, int, float, bool):
        made.register_structure_hook(plain, lambda value, _: value)
    configure_union_passthrough(str | int | float | bool | None, made)
    made.register_structure_hook_factory(
        is_dataclass, lambda kind: make_dict_structure_fn(kind, made, **keys(kind))
    )
    made.register_unstructure_hook_factory(
        is_dataclass, lambda kind: make_dict_unstructure_fn(kind, made, **keys(kind))
    )
    return made


def json_key(each: "Field[Any]") -> str:
    """Return the key of a field: its name, without the underscore after a word of Python."""
    return each.name.removesuffix("_")


def canonical(stored: dict[str, Any]) -> str:
    """One and the same text for the same snapshot, whatever order a database keeps its keys in."""
    return json.dumps(stored, sort_keys=True, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def snapshot_sha256(stored: dict[str, Any]) -> str:
    return hashlib.sha256(canonical(stored).encode()).hexdigest()
