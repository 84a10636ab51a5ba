"""A person's data: merge, export, erase."""
