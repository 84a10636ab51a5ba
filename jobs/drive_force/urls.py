"""URLs of the drive force in each gear."""

from django.urls import path

from jobs.drive_force import views

urlpatterns = [
    path("jobs/<str:number>/drive-force/", views.drive_force, name="drive-force"),
    path("jobs/<str:number>/drive-force.csv", views.drive_force_csv, name="drive-force-csv"),
]
