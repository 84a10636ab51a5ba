"""Checklists and who ticked what.

Models: jobs.models.checks. Templates: templates/jobs/checklists. Tests: tests/jobs/checklists.
"""
