from django.urls import path

from jobs.bikes import views as bikes

urlpatterns = [
    path("bikes/", bikes.bike_list, name="bike-list"),
    path("bikes.csv", bikes.bike_list_csv, name="bike-list-csv"),
    path("bikes/new/", bikes.bike_new, name="bike-new"),
    path("bikes/<int:pk>/", bikes.bike, name="bike"),
    path("bikes/<int:pk>/edit/", bikes.bike_edit, name="bike-edit"),
]
