"""Instruments of the shop and their checks."""
