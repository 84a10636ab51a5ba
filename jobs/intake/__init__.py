"""Checking a bike in: condition, photos, marks and the signed check-in sheet.

Models: jobs.models.job (Job, Photo). Templates: templates/jobs/intake. Tests: tests/jobs/intake.
"""
