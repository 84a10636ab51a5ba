"""Units of the shop: parse, convert and write for people."""
