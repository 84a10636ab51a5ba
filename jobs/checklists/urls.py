"""Addresses of checklists."""

from django.urls import path

from jobs.checklists import views

urlpatterns = [
    path("jobs/<str:number>/checks/", views.checks, name="checks"),
    path("jobs/<str:number>/checks/<int:pk>/tick/", views.check_tick, name="check-tick"),
    path("shop/checks/", views.check_item_list, name="check-item-list"),
    path("shop/checks/<int:pk>/edit/", views.check_item_edit, name="check-item-edit"),
]
