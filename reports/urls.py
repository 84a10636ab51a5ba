"""Addresses of the sheets, documents and customer pages."""

from reports.customer import urls as customer
from reports.documents import urls as documents
from reports.handover import urls as handover
from reports.receipt import urls as receipt
from reports.talk_through import urls as talk_through

urlpatterns = [
    *handover.urlpatterns,
    *documents.urlpatterns,
    *customer.urlpatterns,
    *receipt.urlpatterns,
    *talk_through.urlpatterns,
]
