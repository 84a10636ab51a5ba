from django.urls import path

from workshop.people import views

urlpatterns = [
    path("log-in/", views.log_in, name="login"),
    path("log-out/", views.log_out, name="logout"),
    path("password/", views.password_change, name="password-change"),
    path("staff/", views.staff_list, name="staff-list"),
    path("staff/new/", views.staff_new, name="staff-new"),
    path("staff/<int:pk>/edit/", views.staff_edit, name="staff-edit"),
    path("staff/<int:pk>/password/", views.staff_password, name="staff-password"),
]
