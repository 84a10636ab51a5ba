"""Values on a page, in the shop's units."""

from decimal import Decimal

import pytest
from django.template import Context, Template

from workshop.models import ShopProfile

METRIC = ShopProfile()
AMERICAN = ShopProfile(
    power_unit="hp",
    torque_unit="lbf_ft",
    pressure_unit="inhg",
    temperature_unit="f",
    length_unit="in",
    distance_unit="mi",
)
THIN = "\N{NARROW NO-BREAK SPACE}"
NBSP = "\N{NO-BREAK SPACE}"


def rendered(expression: str, value: object, shop: ShopProfile) -> str:
    template = Template("{% load units %}{{ value|" + expression + " }}")
    return template.render(Context({"value": value, "shop": shop}))


# 1 hp = 550 ft·lbf/s = 0.745699872 kW, 1 lbf·ft = 1.355817948 N·m, 1 inHg = 3.386389 kPa,
# 1 in = 25.4 mm, 1 mi = 1.609344 km: NIST SP 811. 20 °C are 68 °F.
@pytest.mark.parametrize(
    ("expression", "value", "metric", "american"),
    [
        ("power:shop", 74.5699872, f"74.6{NBSP}kW", f"100.0{NBSP}hp"),
        ("torque:shop", 67.7908974, f"67.8{NBSP}N·m", f"50.0{NBSP}lbf·ft"),
        ("pressure:shop", 101.59167, f"101.6{NBSP}kPa", f"30.00{NBSP}inHg"),
        ("temperature:shop", 20.0, f"20.0{NBSP}°C", f"68.0{NBSP}°F"),
        ("distance:shop", 16093.44, f"16{THIN}093{NBSP}km", f"10{THIN}000{NBSP}mi"),
        ("road_speed:shop", 160.9344, f"160.9{NBSP}km/h", f"100.0{NBSP}mph"),
        ("mm:shop", Decimal("0.254"), f"0.25{NBSP}mm", f"0.0100{NBSP}in"),
        ("size:shop", Decimal("2.54000"), f"2.54{NBSP}mm", f"0.1000{NBSP}in"),
    ],
)
def test_filter_shows_value_in_shop_unit(expression, value, metric, american) -> None:
    assert rendered(expression, value, METRIC) == metric
    assert rendered(expression, value, AMERICAN) == american


@pytest.mark.parametrize("expression", ["power:shop", "mm:shop", "size:shop", "plain"])
@pytest.mark.parametrize("value", [None, ""])
def test_missing_value_is_shown_as_dash(expression: str, value: object) -> None:
    assert rendered(expression, value, METRIC) == "–"


@pytest.mark.parametrize(("value", "text"), [("0.10000", "0.10"), ("0.12500", "0.125"), ("3", "3.00")])
def test_size_keeps_entered_decimals(value: str, text: str) -> None:
    assert rendered("size:shop", Decimal(value), METRIC) == f"{text}{NBSP}mm"


@pytest.mark.parametrize(("value", "text"), [(Decimal("2.50"), "2.5"), (82.0, "82"), (1200, "1200")])
def test_plain_number_has_no_trailing_zeros(value: object, text: str) -> None:
    assert rendered("plain", value, METRIC) == text
