from django.urls import path

from jobs.bikes import views as bikes

urlpatterns = [
    path("bikes/", bikes.bike_list, name="bike-list"),
    path("bikes/<int:pk>/", bikes.bike, name="bike"),
]
