"""The day's overview, the list of jobs and the first steps of a new shop.

Templates: templates/jobs/today. Tests: tests/jobs/today.
"""
