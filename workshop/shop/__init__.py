"""The shop's profile."""
