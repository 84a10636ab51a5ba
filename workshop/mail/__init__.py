"""Mails: written within a transaction, sent after it, and their state shown until somebody dealt with it.

outbox.py queues and sends them. Any app may mail: `queue_mail` with the record that the mail is about, and
`list_mails_about` for the page of that record, which includes templates/workshop/mail/_mail.html.
Templates: templates/workshop/mail/; tests: tests/workshop/mail/.
"""
