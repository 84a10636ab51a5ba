"""Addresses of parts and of the kinds of parts and other changes."""

from django.urls import path

from jobs.parts import kind_views, views

urlpatterns = [
    path("jobs/<str:number>/parts/add/", views.part_add, name="part-add"),
    path("parts/<int:pk>/edit/", views.part_edit, name="part-edit"),
    path("parts/<int:pk>/remove/", views.part_remove, name="part-remove"),
    path("shop/part-kinds/", kind_views.part_kind_list, name="part-kind-list"),
    path("shop/part-kinds/<int:pk>/edit/", kind_views.part_kind_edit, name="part-kind-edit"),
    path("shop/part-kinds/<int:pk>/remove/", kind_views.part_kind_remove, name="part-kind-remove"),
]
