"""Booking a job: customer, bike and request in one form.

Model: jobs.models.job. Templates: templates/jobs/booking. Tests: tests/jobs/booking.
"""
