"""Addresses of the timeline and of changes to the bike."""

from django.urls import path

from jobs.timeline import views

urlpatterns = [
    path("jobs/<str:number>/timeline/", views.timeline, name="timeline"),
    path("jobs/<str:number>/changes/add/", views.bike_change_add, name="bike-change-add"),
    path("changes/<int:pk>/edit/", views.bike_change_edit, name="bike-change-edit"),
    path("changes/<int:pk>/remove/", views.bike_change_remove, name="bike-change-remove"),
]
