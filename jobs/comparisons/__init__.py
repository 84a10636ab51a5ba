"""Comparisons of runs before and after, roll-ons and the spread of the dyno.

Models: jobs.models.runs (Comparison, ComparisonRun). Arithmetic: jobs.calc.dyno (design, spread, comparison,
curve_difference, uncertainty), jobs.calc.chassis.roll_on.
Templates: templates/jobs/comparisons. Tests: tests/jobs/comparisons.
"""
