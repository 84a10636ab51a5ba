"""Throttle tables against the runs: drift, idle, engine braking and response.

Model: jobs.models.tunes.ThrottleTable. Arithmetic: jobs.calc.throttle.
Templates: templates/jobs/throttle. Tests: tests/jobs/throttle.
"""
