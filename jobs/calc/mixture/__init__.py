"""Mixture by engine speed and load, fuels and the fuel table."""
