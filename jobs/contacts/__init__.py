"""What shop and customer said to each other about a job, and the shop's own notes.

Model: jobs.models.contacts. Templates: the diary of templates/jobs/job_page. Tests: tests/jobs/contacts.
"""
