"""Addresses of the sheets, documents and customer pages."""

from reports.customer import urls as customer
from reports.documents import urls as documents
from reports.handover import urls as handover

urlpatterns = [*handover.urlpatterns, *documents.urlpatterns, *customer.urlpatterns]
