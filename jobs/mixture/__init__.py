"""Mixture studies: lambda by engine speed and load, and the fuel correction.

Model: jobs.models.mixture. Arithmetic: jobs.calc.mixture.
Templates: templates/jobs/mixture. Tests: tests/jobs/mixture.
"""
