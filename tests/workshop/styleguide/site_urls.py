"""The site as a developer with DEBUG has it."""

from workshop.styleguide.urls import urlpatterns as styleguide
from workshop.urls import handler500, urlpatterns

__all__ = ["handler500", "urlpatterns"]
urlpatterns = [*urlpatterns, *styleguide]
