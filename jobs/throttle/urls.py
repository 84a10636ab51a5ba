from django.urls import path

from jobs.throttle import views as throttle

urlpatterns = [
    path("jobs/<str:number>/throttle/", throttle.throttle, name="throttle"),
    path("tunes/<int:pk>/throttle/add/", throttle.throttle_add, name="throttle-add"),
    path("throttle/<int:pk>/edit/", throttle.throttle_edit, name="throttle-edit"),
    path("throttle/<int:pk>/remove/", throttle.throttle_remove, name="throttle-remove"),
]
