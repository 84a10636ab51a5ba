from django.urls import path

from jobs.views import shop_days as views

urlpatterns = [
    path("shop/places/", views.place_list, name="place-list"),
    path("shop/places/<int:pk>/edit/", views.place_edit, name="place-edit"),
    path("shop/places/<int:pk>/remove/", views.place_remove, name="place-remove"),
    path("shop/hours/", views.working_hours, name="working-hours"),
    path("shop/shut/", views.shut_days_list, name="shut-days-list"),
    path("shop/shut/<int:pk>/edit/", views.shut_days_edit, name="shut-days-edit"),
    path("shop/shut/<int:pk>/remove/", views.shut_days_remove, name="shut-days-remove"),
]
