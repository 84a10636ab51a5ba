"""URLs of the ignition sweep."""

from django.urls import path

from jobs.ignition import views

urlpatterns = [
    path("jobs/<str:number>/ignition/", views.ignition, name="ignition"),
    path("jobs/<str:number>/ignition.csv", views.ignition_csv, name="ignition-csv"),
]
