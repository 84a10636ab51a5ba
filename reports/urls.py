from django.urls import path

from reports.views import handover, links, papers

urlpatterns = [
    path("jobs/<str:number>/handover/", handover.handover, name="handover"),
    path("jobs/<str:number>/handover/preview/", handover.handover_preview, name="handover-preview"),
    path("jobs/<str:number>/handover/issue/", handover.handover_issue, name="handover-issue"),
    path("sheets/<int:pk>/pdf/", handover.sheet_pdf, name="sheet-pdf"),
    path("sheets/<int:pk>/printing/", handover.sheet_printing, name="sheet-printing"),
    path("sheets/<int:pk>/print/", handover.sheet_print, name="sheet-print"),
    path("sheets/<int:pk>/links/", links.link_new, name="link-new"),
    path("sheets/<int:pk>/mail/", links.sheet_mail, name="sheet-mail"),
    path("links/<int:pk>/revoke/", links.link_revoke, name="link-revoke"),
    path("jobs/<str:number>/tag/", papers.job_tag, name="job-tag"),
    path("jobs/<str:number>/tune-summary/", papers.tune_summary, name="tune-summary"),
    path("jobs/<str:number>/records.json", papers.job_json, name="job-json"),
    path("jobs/<str:number>/records.zip", papers.job_zip, name="job-zip"),
    path("bikes/<int:pk>/history/", papers.bike_history, name="bike-history"),
    path("sheet/<str:token>/", links.customer_sheet, name="customer-sheet"),
    path("sheet/<str:token>/pdf/", links.customer_pdf, name="customer-pdf"),
    path("sheet/<str:token>/acknowledge/", links.customer_acknowledge, name="customer-acknowledge"),
]
