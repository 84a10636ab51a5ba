"""Injector duty of the runs of a job, from opening time and engine speed.

Nothing is stored. Arithmetic: jobs.calc.mixture.injector. Templates: templates/jobs/injectors. Tests:
tests/jobs/injectors.
"""
