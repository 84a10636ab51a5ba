from django.urls import path

from jobs.suspension import views as suspension

urlpatterns = [
    path("jobs/<str:number>/suspension/<str:when>/", suspension.suspension_new, name="suspension-new"),
    path("suspension/<int:pk>/edit/", suspension.suspension_edit, name="suspension-edit"),
]
