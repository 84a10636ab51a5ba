"""Facts for paper to and from JSON, by their dataclasses.

A key that is a word of Python carries an underscore in its dataclass (``from_``); the metadata
``key`` holds any other key. A key that older sheets lack has a default.
"""

from dataclasses import Field, fields, is_dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from cattrs import Converter

T = TypeVar("T")
LEFT_OUT_IF_NONE = {"left_out_if_none": True}  # a field without a key in the JSON unless it has a value


def to_json(facts: Any) -> Any:
    """Return facts as plain JSON values."""
    return converter().unstructure(facts)


def from_json(stored: Any, kind: type[T]) -> T:
    """Return plain JSON values as a dataclass; keys without a field are ignored."""
    return converter().structure(stored, kind)


@cache
def converter() -> "Converter":
    # Imported here: only printing needs it, not every start of the site.
    from cattrs import Converter
    from cattrs.gen import make_dict_structure_fn, make_dict_unstructure_fn, override
    from cattrs.strategies import configure_union_passthrough

    def keys(kind: type) -> dict[str, Any]:
        return {
            field.name: override(rename=json_key(field), omit_if_default="left_out_if_none" in field.metadata)
            for field in fields(kind)
        }

    made = Converter(detailed_validation=False)
    # Stored numbers stay as they are: 3 stays 3 where a float is expected, so that JSON stays the same.
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


def json_key(field: "Field[Any]") -> str:
    """Return the key of a field: its name, without the underscore after a word of Python."""
    key: str = field.metadata.get("key", field.name.removesuffix("_"))
    return key
