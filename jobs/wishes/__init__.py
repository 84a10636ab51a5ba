"""The wishes of the customer's request, and how the work answered each.

Model: jobs.models.wish. Templates: templates/jobs/wishes. Tests: tests/jobs/wishes.
"""
