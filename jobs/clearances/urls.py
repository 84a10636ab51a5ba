"""Addresses of clearance sets and of the shim plans made from them."""

from django.urls import path

from jobs.clearances import shim_views, views

urlpatterns = [
    path("jobs/<str:number>/clearances/new/<str:when>/", views.clearances_new, name="clearances-new"),
    path("clearances/<int:pk>/", views.clearances, name="clearances"),
    path("clearances/<int:pk>/edit/", views.clearances_edit, name="clearances-edit"),
    path("clearances/<int:pk>/shim-plan/", shim_views.shim_plan, name="shim-plan"),
    path("clearances/<int:pk>/shim-plan/accept/", shim_views.shim_plan_accept, name="shim-plan-accept"),
    path(
        "clearances/<int:pk>/shim-plan/take-back/", shim_views.shim_plan_take_back, name="shim-plan-take-back"
    ),
    path(
        "clearances/<int:pk>/shim-plan/left-over/",
        shim_views.shim_plan_add_removed,
        name="shim-plan-left-over",
    ),
    path("clearances/<int:pk>/shim-plan/slip/", shim_views.shim_plan_slip, name="shim-plan-slip"),
]
