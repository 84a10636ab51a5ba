from django.urls import path

from jobs.throttle import step_views
from jobs.throttle import views as throttle

urlpatterns = [
    path("jobs/<str:number>/throttle/", throttle.throttle, name="throttle"),
    path("jobs/<str:number>/throttle-response/", step_views.throttle_response, name="throttle-response"),
    path(
        "jobs/<str:number>/throttle-response.csv",
        step_views.throttle_response_csv,
        name="throttle-response-csv",
    ),
    path("jobs/<str:number>/throttle-linearity.csv", throttle.linearity_csv, name="throttle-linearity-csv"),
    path("jobs/<str:number>/overrun.csv", throttle.overrun_csv, name="overrun-csv"),
    path("tunes/<int:pk>/throttle/add/", throttle.throttle_add, name="throttle-add"),
    path("throttle/<int:pk>/edit/", throttle.throttle_edit, name="throttle-edit"),
    path("throttle/<int:pk>/remove/", throttle.throttle_remove, name="throttle-remove"),
]
