"""Addresses of work items."""

from django.urls import path

from jobs.work_items import views

urlpatterns = [
    path("jobs/<str:number>/work/add/", views.work_item_add, name="work-item-add"),
    path("jobs/<str:number>/work.csv", views.work_items_csv, name="work-csv"),
    path("jobs/<str:number>/work/", views.work_items, name="work-items"),
    path("work/<int:pk>/tick/", views.work_item_tick, name="work-item-tick"),
    path("work/<int:pk>/edit/", views.work_item_edit, name="work-item-edit"),
    path("work/<int:pk>/remove/", views.work_item_remove, name="work-item-remove"),
]
