"""Addresses of tunes and of the tune change types."""

from django.urls import path

from jobs.tunes import change_kind_views, views

urlpatterns = [
    path("jobs/<str:number>/tunes/", views.tune_log, name="tune-log"),
    path("jobs/<str:number>/tunes/new/", views.tune_new, name="tune-new"),
    path("jobs/<str:number>/tunes/difference/", views.tune_difference, name="tune-difference"),
    path("tunes/<int:pk>/", views.tune, name="tune"),
    path("tunes/<int:pk>/edit/", views.tune_edit, name="tune-edit"),
    path("tunes/<int:pk>/calibration/", views.calibration, name="calibration"),
    path("tunes/<int:pk>/changes/add/", views.tune_change_add, name="tune-change-add"),
    path("tune-changes/<int:pk>/edit/", views.tune_change_edit, name="tune-change-edit"),
    path("tune-changes/<int:pk>/remove/", views.tune_change_remove, name="tune-change-remove"),
    path("shop/change-kinds/", change_kind_views.change_kind_list, name="change-kind-list"),
    path("shop/change-kinds/<int:pk>/edit/", change_kind_views.change_kind_edit, name="change-kind-edit"),
    path(
        "shop/change-kinds/<int:pk>/remove/", change_kind_views.change_kind_remove, name="change-kind-remove"
    ),
]
