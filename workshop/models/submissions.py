"""Submitted forms: a double click makes one record."""

from django.conf import settings
from django.db import models


class Submission(models.Model):
    """The key of a form, and the redirect of its first submission."""

    key = models.UUIDField(unique=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE)
    led_to = models.CharField(max_length=300, blank=True)
    at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return str(self.key)
