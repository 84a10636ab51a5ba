"""The last stage of a job: the bike leaves, and what was still open is stored by name.

Model: jobs.models.handovers. Templates: templates/jobs/handing_over. Tests: tests/jobs/handing_over.
The page that leads here is reports.handover, which knows the issued sheets.
"""
