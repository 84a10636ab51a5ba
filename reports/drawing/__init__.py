"""Charts and pictures for paper."""
