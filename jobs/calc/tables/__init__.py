"""Tables of numbers with two axes, also as pasted text."""
