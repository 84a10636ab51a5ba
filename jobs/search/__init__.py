"""Search over customers, bikes and jobs.

Index: workshop.models.search. Templates: templates/jobs/search. Tests: tests/jobs/search.
"""
