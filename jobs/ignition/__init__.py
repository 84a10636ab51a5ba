"""Ignition sweep: torque over ignition advance in held runs, and the advance with the most torque.

Nothing is stored. Arithmetic: jobs.calc.dyno.ignition. Templates: templates/jobs/ignition. Tests:
tests/jobs/ignition.
"""
