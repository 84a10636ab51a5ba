"""Addresses of shim plans, each named by the clearance set it is made from."""

from django.urls import path

from jobs.views import shims

urlpatterns = [
    path("clearances/<int:pk>/shim-plan/", shims.shim_plan, name="shim-plan"),
    path("clearances/<int:pk>/shim-plan/accept/", shims.shim_plan_accept, name="shim-plan-accept"),
    path("clearances/<int:pk>/shim-plan/take-back/", shims.shim_plan_take_back, name="shim-plan-take-back"),
    path("clearances/<int:pk>/shim-plan/left-over/", shims.shim_plan_left_over, name="shim-plan-left-over"),
    path("clearances/<int:pk>/shim-plan/slip/", shims.shim_plan_slip, name="shim-plan-slip"),
]
