from django.urls import path

from workshop.health import views as views

urlpatterns = [path("health/", views.health, name="health")]
