"""All URLs of the site."""

from django.conf import settings
from django.urls import include, path

from workshop.backup import urls as backup
from workshop.change_log import urls as change_log
from workshop.customers import urls as customers
from workshop.engines import urls as engines
from workshop.health import urls as health
from workshop.instruments import urls as instruments
from workshop.mail import urls as mail
from workshop.people import urls as people
from workshop.privacy import urls as privacy
from workshop.shop import urls as shop
from workshop.stock import urls as stock
from workshop.styleguide import urls as styleguide

handler500 = "workshop.access.errors.server_error"
PACKAGES = (people, shop, mail, change_log, backup, customers, privacy, engines, stock, instruments, health)
urlpatterns = [
    *(pattern for package in PACKAGES for pattern in package.urlpatterns),
    path("", include("jobs.urls")),
    path("", include("reports.urls")),
]
if settings.DEBUG:
    urlpatterns += styleguide.urlpatterns
