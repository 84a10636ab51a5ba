"""Valve clearances as found and as left, shim plans and the trend over a bike's jobs.

Models: jobs.models.clearances. Arithmetic: jobs.calc.clearances.
Templates: templates/jobs/clearances. Tests: tests/jobs/clearances.
"""
