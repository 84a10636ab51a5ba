"""Tunes: numbered versions of all ECU settings, their changes and throttle tables.

Models: jobs.models.tunes. Arithmetic: jobs.calc.throttle.tables.
Templates: templates/jobs/tunes. Tests: tests/jobs/tunes.
"""
