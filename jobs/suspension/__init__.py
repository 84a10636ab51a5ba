"""Suspension settings, sag, tyres and gearing as found and as left.

Model: jobs.models.suspension. Arithmetic: jobs.calc.chassis.
Templates: templates/jobs/suspension. Tests: tests/jobs/suspension.
"""
