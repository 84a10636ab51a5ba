"""The log shows neither the secret of a link nor what stands in a refused row."""

import io
import logging
from collections.abc import Iterator
from datetime import timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.urls import reverse
from django.utils import timezone

from jobs.planner.calendar_feed import create_token
from reports.models import Printing, SheetLink
from tests.factories import make_job
from tests.workshop.privacy.records import add_sheet
from workshop.logs import DiscreetFormatter
from workshop.models import Role


@pytest.fixture
def log() -> Iterator[io.StringIO]:
    """Return what the site's own handler writes."""
    (handler,) = [one for one in logging.getLogger().handlers if isinstance(one.formatter, DiscreetFormatter)]
    written = io.StringIO()
    before = handler.setStream(written)
    yield written
    handler.setStream(before)


@pytest.fixture
def link(staff) -> SheetLink:
    """Make a link that works, to a sheet that is still being printed."""
    link = add_sheet(make_job(), staff[Role.DESK])
    Printing.objects.create(sheet=link.sheet)
    return link


def test_token_of_a_link_is_not_logged(client, link, log) -> None:
    url = reverse("customer-sheet", args=[link.token])
    assert client.get(url).status_code == 503
    SheetLink.objects.update(expires_at=timezone.now() - timedelta(days=1))
    assert client.get(url).status_code == 410
    assert client.get(reverse("customer-sheet", args=["x" * 43])).status_code == 404
    assert log.getvalue().count("/sheet/…/") == 3
    assert link.token not in log.getvalue() and "x" * 43 not in log.getvalue()


def test_token_of_a_calendar_is_not_logged(client, staff, log) -> None:
    token = create_token(staff[Role.DESK])
    assert client.post(reverse("calendar-feed", args=[token])).status_code == 405
    assert "/calendar/…" in log.getvalue() and token not in log.getvalue()


def test_token_in_a_traceback_is_not_logged(log) -> None:
    try:
        raise ValueError(f"/sheet/{'t' * 43}/")
    except ValueError:
        logging.getLogger("workshop").exception("It failed.")
    assert "ValueError: /sheet/…/" in log.getvalue()


@pytest.mark.django_db
def test_values_of_a_refused_row_are_not_logged(log) -> None:
    customer = make_job().customer
    with pytest.raises(IntegrityError) as refused, transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE workshop_customer SET name = '' WHERE id = %s", [customer.pk])
    logging.getLogger("workshop").error("It failed.", exc_info=refused.value)
    assert "IntegrityError" in log.getvalue() and "customer_has_name" in log.getvalue()
    assert customer.phone not in log.getvalue() and customer.email not in log.getvalue()
