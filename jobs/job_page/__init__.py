"""The page of a job: its sections in the printed order.

Templates: templates/jobs/job_page. Tests: tests/jobs/job_page.
"""
