"""URLs of the injector duty."""

from django.urls import path

from jobs.injectors import views

urlpatterns = [
    path("jobs/<str:number>/injectors/", views.injectors, name="injectors"),
    path("jobs/<str:number>/injectors.csv", views.injectors_csv, name="injectors-csv"),
]
