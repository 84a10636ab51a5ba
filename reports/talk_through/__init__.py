"""The talk-through: a job explained step by step, full screen, from the facts of its sheet.

Model: reports.models.talk_through. Templates: templates/reports/talk_through.
Tests: tests/reports/talk_through.
"""
