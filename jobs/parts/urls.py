from django.urls import path

from jobs.parts import views as parts

urlpatterns = [
    path("jobs/<str:number>/parts/add/", parts.part_add, name="part-add"),
    path("parts/<int:pk>/edit/", parts.part_edit, name="part-edit"),
    path("parts/<int:pk>/remove/", parts.part_remove, name="part-remove"),
]
