"""All addresses of the site."""

from django.urls import include, path

from workshop.urls import customers, engines, health, people, shop, stock

urlpatterns = [
    *(
        pattern
        for module in (people, shop, customers, engines, stock, health)
        for pattern in module.urlpatterns
    ),
    path("", include("jobs.urls")),
    path("", include("reports.urls")),
]
