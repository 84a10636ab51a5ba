from django.urls import path

from jobs.views import search, today

urlpatterns = [
    path("", today.today, name="today"),
    path("jobs/", today.job_list, name="job-list"),
    path("search/", search.search, name="search"),
]
