from django.urls import path

from jobs.views import checks, timeline

urlpatterns = [
    path("jobs/<str:number>/checks/", checks.checks, name="checks"),
    path("jobs/<str:number>/checks/<int:pk>/tick/", checks.check_tick, name="check-tick"),
    path("shop/checks/", checks.check_item_list, name="check-item-list"),
    path("shop/checks/<int:pk>/edit/", checks.check_item_edit, name="check-item-edit"),
    path("jobs/<str:number>/timeline/", timeline.timeline, name="timeline"),
    path("jobs/<str:number>/changes/add/", timeline.bike_change_add, name="bike-change-add"),
    path("changes/<int:pk>/edit/", timeline.bike_change_edit, name="bike-change-edit"),
    path("changes/<int:pk>/remove/", timeline.bike_change_remove, name="bike-change-remove"),
]
