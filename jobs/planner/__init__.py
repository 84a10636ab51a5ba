"""Slots on workstations, opening hours, closed days and the calendar feed.

Models: jobs.models.slots. Templates: templates/jobs/planner. Tests: tests/jobs/planner.
"""
