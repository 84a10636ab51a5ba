"""The library of engines."""

from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from workshop.answers import posted, render_form, say_saved
from workshop.forms.engines import EngineForm
from workshop.models import EngineSpec
from workshop.once import once
from workshop.roles import StaffRequest, owner_only, staff


@staff
@require_safe
def engine_list(request: StaffRequest) -> HttpResponse:
    engines = EngineSpec.objects.annotate(bike_count=Count("bikes"))
    return render(request, "workshop/engine_list.html", {"engines": engines})


@staff
@require_safe
def engine(request: StaffRequest, pk: int) -> HttpResponse:
    engine = get_object_or_404(EngineSpec, pk=pk)
    bikes = engine.bikes.select_related("owner")
    return render(request, "workshop/engine.html", {"engine": engine, "bikes": bikes})


@owner_only
@require_http_methods(["GET", "POST"])
@once
def engine_new(request: StaffRequest) -> HttpResponse:
    form = EngineForm(posted(request))
    if form.is_valid():
        engine = form.save()
        say_saved(request, f"{engine} is in the library.", "engine-new")
        return redirect("engine", engine.pk)
    return render_form(request, "workshop/engine_form.html", form)


@owner_only
@require_http_methods(["GET", "POST"])
def engine_edit(request: StaffRequest, pk: int) -> HttpResponse:
    engine = get_object_or_404(EngineSpec, pk=pk)
    form = EngineForm(posted(request), instance=engine)
    if form.is_valid() and form.save_unless_stale():
        say_saved(request, f"{engine} is saved.", f"engine-{pk}")
        return redirect("engine", pk)
    return render_form(request, "workshop/engine_form.html", form, engine=EngineSpec.objects.get(pk=pk))
