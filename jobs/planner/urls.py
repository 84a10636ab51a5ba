"""Addresses of slots, the calendar feed, workstations, opening hours and closed days."""

from django.urls import path

from jobs.planner import setup_views, views

urlpatterns = [
    path("slots/new/", views.slot_new, name="slot-new"),
    path("slots/<int:pk>/edit/", views.slot_edit, name="slot-edit"),
    path("slots/<int:pk>/move/", views.slot_move, name="slot-move"),
    path("slots/<int:pk>/remove/", views.slot_remove, name="slot-remove"),
    path("calendar/", views.calendar, name="calendar"),
    path("calendar/renew/", views.calendar_renew, name="calendar-renew"),
    path("calendar/revoke/", views.calendar_revoke, name="calendar-revoke"),
    path("calendar/<str:token>.ics", views.calendar_feed, name="calendar-feed"),
    path("shop/places/", setup_views.workstation_list, name="place-list"),
    path("shop/places/<int:pk>/edit/", setup_views.workstation_edit, name="place-edit"),
    path("shop/places/<int:pk>/remove/", setup_views.workstation_remove, name="place-remove"),
    path("shop/hours/", setup_views.working_hours, name="working-hours"),
    path("shop/shut/", setup_views.closed_days_list, name="shut-days-list"),
    path("shop/shut/<int:pk>/edit/", setup_views.closed_days_edit, name="shut-days-edit"),
    path("shop/shut/<int:pk>/remove/", setup_views.closed_days_remove, name="shut-days-remove"),
]
