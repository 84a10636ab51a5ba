"""Gearing, sag and roll-on."""
