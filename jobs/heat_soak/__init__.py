"""Heat soak: how far power follows intake, coolant and oil temperature between repeats.

Nothing is stored. Arithmetic: jobs.calc.dyno.heat_soak. Templates: templates/jobs/heat_soak. Tests:
tests/jobs/heat_soak.
"""
