"""Log of the dyno's verification: readings of a reference bike or a dead weight, a record of the shop.

Model: jobs.models.dyno_checks. Arithmetic: jobs.calc.dyno.control_chart.
Templates: templates/jobs/verification. Tests: tests/jobs/verification.
"""
