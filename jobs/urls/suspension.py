from django.urls import path

from jobs.views import suspension

urlpatterns = [
    path("jobs/<str:number>/suspension/<str:when>/", suspension.suspension_new, name="suspension-new"),
    path("suspension/<int:pk>/edit/", suspension.suspension_edit, name="suspension-edit"),
]
