"""URLs of the heat soak."""

from django.urls import path

from jobs.heat_soak import views

urlpatterns = [
    path("jobs/<str:number>/heat-soak/", views.heat_soak, name="heat-soak"),
    path("jobs/<str:number>/heat-soak.csv", views.heat_soak_csv, name="heat-soak-csv"),
]
