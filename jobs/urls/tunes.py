from django.urls import path

from jobs.views import change_kinds, tunes

urlpatterns = [
    path("jobs/<str:number>/tunes/", tunes.tune_log, name="tune-log"),
    path("jobs/<str:number>/tunes/new/", tunes.tune_new, name="tune-new"),
    path("jobs/<str:number>/tunes/difference/", tunes.tune_difference, name="tune-difference"),
    path("tunes/<int:pk>/", tunes.tune, name="tune"),
    path("tunes/<int:pk>/edit/", tunes.tune_edit, name="tune-edit"),
    path("tunes/<int:pk>/calibration/", tunes.calibration, name="calibration"),
    path("tunes/<int:pk>/changes/add/", tunes.tune_change_add, name="tune-change-add"),
    path("tune-changes/<int:pk>/edit/", tunes.tune_change_edit, name="tune-change-edit"),
    path("tune-changes/<int:pk>/remove/", tunes.tune_change_remove, name="tune-change-remove"),
    path("shop/change-kinds/", change_kinds.change_kind_list, name="change-kind-list"),
    path("shop/change-kinds/<int:pk>/edit/", change_kinds.change_kind_edit, name="change-kind-edit"),
    path("shop/change-kinds/<int:pk>/remove/", change_kinds.change_kind_remove, name="change-kind-remove"),
]
