"""The change log: who edited what."""
