"""Addresses of checking a bike in: photos, check-in sheet, signature."""

from django.urls import path

from jobs.intake import photo_views, views

urlpatterns = [
    path("jobs/<str:number>/receive/", views.job_receive, name="job-receive"),
    path("jobs/<str:number>/receipt/", views.job_receipt, name="job-receipt"),
    path("jobs/<str:number>/receipt/sign/", views.job_sign, name="job-sign"),
    path("jobs/<str:number>/photos/add/", photo_views.photo_add, name="photo-add"),
    path("photos/<int:pk>/", photo_views.photo, name="photo"),
    path("photos/<int:pk>/edit/", photo_views.photo_edit, name="photo-edit"),
    path("photos/<int:pk>/remove/", photo_views.photo_remove, name="photo-remove"),
]
