"""Pages of login, passwords and staff."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from axes.handlers.proxy import AxesProxyHandler
from axes.helpers import get_cool_off
from axes.utils import reset as reset_wrong_tries
from django.conf import settings
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.views import LoginView, LogoutView
from django.db import transaction
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from workshop.access.roles import StaffRequest, owner_only, public, staff
from workshop.models import Role, ShopProfile, StaffMember
from workshop.people.devices import identify_device, remember_device
from workshop.people.forms import LoginForm, NewPasswordForm, NewStaffForm, OwnPasswordForm, StaffForm
from workshop.records.lists import ListColumn, list_headings, list_page, search_text, sort_rows
from workshop.records.responses import flash_saved, post_data, render_form
from workshop.records.submit_once import submit_once

COLUMNS = (
    ListColumn("name", "Name", ("last_name", "first_name", "username")),
    ListColumn("username", "Username", ("username",)),
    ListColumn("login", "Last logged in", ("last_login",)),
    ListColumn("roles", "Roles"),
)
STATES = {"": "all", "open": "can log in", "closed": "login closed"}
NEW_PASSWORD = "a new password"  # for the history, which never holds the password itself


class Login(LoginView):
    template_name = "workshop/people/login.html"
    authentication_form = LoginForm
    redirect_authenticated_user = True

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        identify_device(request, request.POST.get("username", ""))
        return super().post(request, *args, **kwargs)

    def form_valid(self, form: Any) -> HttpResponse:
        response = super().form_valid(form)
        remember_device(self.request, response, form.get_user().get_username())
        return response

    def form_invalid(self, form: Any) -> HttpResponse:
        return self.render_to_response(self.get_context_data(form=form), status=422)


log_in = public(require_http_methods(["GET", "HEAD", "POST"])(Login.as_view()))
log_out = staff(require_POST(LogoutView.as_view()))


def unlock_time(request: HttpRequest, username: str) -> datetime:
    """Return when a locked-out name may try again from here, in the shop's time zone."""
    [tries] = AxesProxyHandler.get_implementation().get_user_attempts(request, {"username": username})
    last = tries.order_by("-attempt_time").values_list("attempt_time", flat=True).first()
    free_at: datetime = (last or timezone.now()) + get_cool_off(request)
    return free_at.astimezone(ZoneInfo(ShopProfile.current().time_zone))


def locked_out(request: HttpRequest, response: HttpResponse | None, credentials: Any) -> HttpResponse:
    """Render what axes shows instead of the login after too many wrong passwords."""
    free_at = unlock_time(request, (credentials or {}).get("username", ""))
    # Formatted here because without a login the page would show UTC.
    return render(request, "workshop/people/locked_out.html", {"free_at": f"{free_at:%H:%M}"}, status=429)


@staff
@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
def password_change(request: StaffRequest) -> HttpResponse:
    identify_device(request, request.user.get_username())
    form = OwnPasswordForm(request, post_data(request))
    if form.is_valid():
        form.user._change_reason = NEW_PASSWORD
        form.save()
        update_session_auth_hash(request, request.user)
        flash_saved(request, "Password changed.")
        return redirect(settings.LOGIN_REDIRECT_URL)
    return render_form(
        request, "workshop/people/password_change.html", form, back=settings.LOGIN_REDIRECT_URL
    )


@owner_only
@require_safe
def staff_list(request: StaffRequest) -> HttpResponse:
    text, role, state = (search_text(request, name) for name in ("q", "role", "state"))
    context = {
        "page": list_page(request, sort_rows(request, filter_staff(text, role, state), COLUMNS)),
        "headings": list_headings(request, COLUMNS),
        "wanted": text,
        "role": role,
        "state": state,
        "filter_count": bool(role) + bool(state),
        "roles": Role.choices,
        "states": STATES,
    }
    return render(request, "workshop/people/staff_list.html", context)


def filter_staff(text: str, role: str, state: str) -> "QuerySet[StaffMember]":
    """Return the people of a list, those who can log in first; an unknown role or state is ignored."""
    people = StaffMember.objects.order_by("-is_active", "last_name", "username")
    if role in Role.values:
        people = people.filter(**{f"is_{role}": True})
    if state in ("open", "closed"):
        people = people.filter(is_active=state == "open")
    for word in text.split():
        people = people.filter(
            Q(first_name__icontains=word) | Q(last_name__icontains=word) | Q(username__icontains=word)
        )
    return people


@owner_only
@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
@submit_once
def staff_new(request: StaffRequest) -> HttpResponse:
    form = NewStaffForm(post_data(request))
    if form.is_valid():
        person = form.save()
        flash_saved(request, f"{person} can now log in as {person.username}.", "staff-new")
        return redirect("staff-list")
    return render_form(request, "workshop/people/staff_form.html", form)


@owner_only
@require_http_methods(["GET", "POST"])
@transaction.atomic
def staff_edit(request: StaffRequest, pk: int) -> HttpResponse:
    # Lock the owners, so that two of them cannot step down at the same time and leave none.
    list(StaffMember.objects.active_owners().select_for_update())
    person = get_object_or_404(StaffMember, pk=pk)
    form = StaffForm(post_data(request), instance=person)
    if form.is_valid():
        form.save()
        flash_saved(request, f"{person} saved: {person.role_names}.", f"staff-{pk}")
        stays = person != request.user or person.holds()
        return redirect("staff-list" if stays else settings.LOGIN_REDIRECT_URL)
    return render_form(
        request, "workshop/people/staff_form.html", form, person=StaffMember.objects.get(pk=pk)
    )


@owner_only
@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
def staff_password(request: StaffRequest, pk: int) -> HttpResponse:
    person = get_object_or_404(StaffMember, pk=pk)
    form = NewPasswordForm(person, post_data(request))
    if form.is_valid():
        form.user._change_reason = NEW_PASSWORD
        form.save()
        reset_wrong_tries(username=person.username)
        if person == request.user:
            update_session_auth_hash(request, person)
        flash_saved(request, f"New password set. {person} has been logged out on all other devices.")
        return redirect("staff-list")
    return render_form(request, "workshop/people/staff_password.html", form, person=person)
