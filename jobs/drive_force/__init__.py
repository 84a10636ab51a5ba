"""Drive force in each gear over road speed, road load, and where to change up.

Nothing is stored. Arithmetic: jobs.calc.chassis.drive_force. Templates: templates/jobs/drive_force. Tests:
tests/jobs/drive_force.
"""
