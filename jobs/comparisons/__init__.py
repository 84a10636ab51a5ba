"""Comparisons of runs before and after, roll-ons and repeatability.

Models: jobs.models.runs (Comparison, ComparisonRun). Arithmetic: jobs.calc.dyno.comparison,
jobs.calc.dyno.repeats, jobs.calc.chassis.roll_on.
Templates: templates/jobs/comparisons. Tests: tests/jobs/comparisons.
"""
