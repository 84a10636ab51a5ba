"""Dyno and logger runs: import, file layouts, curves, charts and tables.

Models: jobs.models.runs. Arithmetic: jobs.calc.run_file, jobs.calc.dyno.
Templates: templates/jobs/runs. Tests: tests/jobs/runs.
"""
