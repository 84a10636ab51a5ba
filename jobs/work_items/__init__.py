"""Agreed work and its prices.

Model: jobs.models.job.WorkItem. Templates: templates/jobs/work_items. Tests: tests/jobs/work_items.
"""
