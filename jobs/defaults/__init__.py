"""Lists that a new shop starts with."""
