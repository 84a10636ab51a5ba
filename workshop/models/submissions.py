"""Forms that were sent once already: a double click makes one record."""

from django.conf import settings
from django.db import models


class Submission(models.Model):
    """The key that a form carried when it was shown, and where its first sending led."""

    key = models.UUIDField(unique=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE)
    led_to = models.CharField(max_length=300, blank=True)
    at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return str(self.key)
