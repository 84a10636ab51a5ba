"""What happened to the bike, in order, and changes that no other record holds.

Model: jobs.models.job.BikeChange. Templates: templates/jobs/timeline. Tests: tests/jobs/timeline.
"""
