"""Addresses of the handover sheet."""

from django.urls import path

from reports.handover import views

urlpatterns = [
    path("jobs/<str:number>/handover/", views.handover, name="handover"),
    path("jobs/<str:number>/handover/preview/", views.handover_preview, name="handover-preview"),
    path("jobs/<str:number>/handover/preview/<str:key>/", views.preview, name="preview"),
    path("jobs/<str:number>/handover/preview/<str:key>/page/", views.preview_page, name="preview-page"),
    path("jobs/<str:number>/handover/preview/<str:key>/pdf/", views.preview_pdf, name="preview-pdf"),
    path("jobs/<str:number>/handover/issue/", views.handover_issue, name="handover-issue"),
    path("jobs/<str:number>/handover/complete/", views.handover_complete, name="handover-complete"),
    path("sheets/<int:pk>/pdf/", views.sheet_pdf, name="sheet-pdf"),
    path("sheets/<int:pk>/printing/", views.sheet_printing, name="sheet-printing"),
    path("sheets/<int:pk>/print/", views.sheet_print, name="sheet-print"),
]
