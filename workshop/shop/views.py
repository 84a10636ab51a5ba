"""Pages of the shop's profile."""

from django.http import FileResponse, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from jobs.calc.dyno.air import STANDARDS, correction_blocker
from workshop.access.roles import StaffRequest, owner_only, staff
from workshop.models import ShopProfile
from workshop.records.responses import flash_saved, open_or_404, post_data, render_form
from workshop.shop.forms import ShopForm, band_forms


@owner_only
@require_http_methods(["GET", "POST"])
def shop_profile(request: StaffRequest) -> HttpResponse:
    shop = ShopProfile.current()
    files = request.FILES if request.method == "POST" else None
    form = ShopForm(post_data(request), files, instance=shop)
    bands = band_forms(data=post_data(request), bands=shop.bands)
    # Validate both, so that all errors are shown together.
    if all([form.is_valid(), bands.is_valid()]):
        shop.bands = bands.bands
        if form.save_unless_stale():
            flash_saved(request, "Shop settings saved.", "shop")
            return redirect("shop-profile")
    return render_form(request, "workshop/shop/profile.html", form, bands=bands)


@staff
@require_safe
def correction_standards(request: StaffRequest) -> HttpResponse:
    blocked = (("constant_boost", "spark"), ("natural", "compression"))
    context = {
        "standards": [{"key": key, "rule": rule} for key, rule in STANDARDS.items()],
        "used": STANDARDS[request.shop.correction_standard],
        "not_corrected": [correction_blocker(induction, ignition) for induction, ignition in blocked],
    }
    return render(request, "workshop/shop/standards.html", context)


@staff
@require_safe
def shop_logo(request: StaffRequest) -> HttpResponseBase:
    return FileResponse(open_or_404(ShopProfile.current().logo, "The shop has no logo."))
