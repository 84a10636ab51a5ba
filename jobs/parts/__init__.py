"""Parts fitted in a job.

Model: jobs.models.parts. Templates: templates/jobs/parts. Tests: tests/jobs/parts.
"""
