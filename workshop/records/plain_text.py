"""Characters that make a text read otherwise than it was typed."""

import json
import re
from typing import Any

from django.core.exceptions import ValidationError

# Unicode Standard Annex 9, 2: embeddings, overrides and isolates. Arabic and Hebrew need none of them.
DIRECTION_CONTROLS = re.compile("[\u202a-\u202e\u2066-\u2069]")
LINE_ENDS = re.compile("[\n\r\v\f\u0085\u2028\u2029]")


def refuse_direction_controls(value: Any) -> None:
    """Raise ValidationError if a text holds invisible characters that reverse what follows."""
    text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False, default=str)
    if found := DIRECTION_CONTROLS.search(text):
        raise ValidationError(
            f"This text contains an invisible character (U+{ord(found[0]):04X}) that reverses "
            "the text after it. "
            "Delete the text and type it again instead of pasting it.",
            code="direction_control",
        )


def refuse_line_ends(value: Any) -> None:
    """Raise ValidationError if a text of one line has several."""
    if isinstance(value, str) and LINE_ENDS.search(value):
        raise ValidationError("Enter one line only. Remove the line break.", code="line_end")


def strip_direction_controls(text: str) -> str:
    """Return a text without these characters, for paper: records may be older than the rule."""
    return DIRECTION_CONTROLS.sub("", text)
