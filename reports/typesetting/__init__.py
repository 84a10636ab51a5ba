"""Set pages as PDF, one at a time, with every glyph."""
