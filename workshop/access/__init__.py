"""Who may open which view."""
