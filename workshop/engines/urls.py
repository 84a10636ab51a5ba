from django.urls import path

from workshop.engines import views

urlpatterns = [
    path("engines/", views.engine_list, name="engine-list"),
    path("engines/new/", views.engine_new, name="engine-new"),
    path("engines/export/", views.engine_export, name="engine-export"),
    path("engines/import/", views.engine_import, name="engine-import"),
    path("engines/<int:pk>/", views.engine, name="engine"),
    path("engines/<int:pk>/edit/", views.engine_edit, name="engine-edit"),
]
