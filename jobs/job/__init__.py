"""A job: one bike in the workshop for one piece of work.

Model: jobs.models.job.Job. What every record of a job shares is here: the rows that its page
reads (page), the stages, the base of a section, form pages and fields.
Templates: templates/jobs/job. Tests: tests/jobs/job.
"""
