from django.urls import path

from jobs.views import slots as views

urlpatterns = [
    path("slots/new/", views.slot_new, name="slot-new"),
    path("slots/<int:pk>/edit/", views.slot_edit, name="slot-edit"),
    path("slots/<int:pk>/move/", views.slot_move, name="slot-move"),
    path("slots/<int:pk>/remove/", views.slot_remove, name="slot-remove"),
    path("calendar/", views.calendar, name="calendar"),
    path("calendar/renew/", views.calendar_renew, name="calendar-renew"),
    path("calendar/revoke/", views.calendar_revoke, name="calendar-revoke"),
    path("calendar/<str:token>.ics", views.calendar_feed, name="calendar-feed"),
]
