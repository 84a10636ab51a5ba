"""Events of a job in order, and bike changes that no other record holds.

Model: jobs.models.job.BikeChange. Templates: templates/jobs/timeline. Tests: tests/jobs/timeline.
"""
