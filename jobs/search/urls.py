"""Address of the search."""

from django.urls import path

from jobs.search import views

urlpatterns = [
    path("search/", views.search, name="search"),
]
