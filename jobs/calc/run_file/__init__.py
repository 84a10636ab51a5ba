"""Read run files of any layout: text, structure, columns, clock and skipped rows."""
