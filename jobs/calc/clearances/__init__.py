"""Valve clearances: readings, trend, shims and the shim plan."""
