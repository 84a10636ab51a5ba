from django.urls import path

from jobs.views import booking, photos, receipts, work_items
from jobs.views import job as views

urlpatterns = [
    path("jobs/book/", booking.job_book, name="job-book"),
    path("jobs/book/bikes/", booking.bike_choices, name="bike-choices"),
    path("jobs/book/customers/", booking.customer_choices, name="customer-choices"),
    path("jobs/<str:number>/", views.job, name="job"),
    path("jobs/<str:number>/edit/", views.job_edit, name="job-edit"),
    path("jobs/<str:number>/remarks/", views.job_remarks, name="job-remarks"),
    path("jobs/<str:number>/receive/", views.job_receive, name="job-receive"),
    path("jobs/<str:number>/stage/", views.job_stage, name="job-stage"),
    path("jobs/<str:number>/photos/add/", photos.photo_add, name="photo-add"),
    path("photos/<int:pk>/", photos.photo, name="photo"),
    path("photos/<int:pk>/edit/", photos.photo_edit, name="photo-edit"),
    path("photos/<int:pk>/remove/", photos.photo_remove, name="photo-remove"),
    path("jobs/<str:number>/work/add/", work_items.work_item_add, name="work-item-add"),
    path("jobs/<str:number>/work.csv", work_items.work_items_csv, name="work-csv"),
    path("jobs/<str:number>/receipt/", receipts.job_receipt, name="job-receipt"),
    path("jobs/<str:number>/receipt/sign/", receipts.job_sign, name="job-sign"),
    path("work/<int:pk>/edit/", work_items.work_item_edit, name="work-item-edit"),
    path("work/<int:pk>/remove/", work_items.work_item_remove, name="work-item-remove"),
]
