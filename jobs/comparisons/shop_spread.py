"""The spread that stands behind the shop's comparisons: measured from its own repeats, or assumed."""

from datetime import datetime
from typing import Any

import numpy as np

from jobs.calc.dyno.spread import (
    ASSUMED_SESSION_PCT,
    RunSpread,
    SessionSpread,
    ShopSpread,
    assumed_spread,
)
from workshop.models import ShopProfile


def shop_spread(shop: ShopProfile) -> ShopSpread:
    """Return the shop's measured spread, or what it assumes until it measures."""
    stored = shop.measured_spread
    if not stored:
        return assumed_spread(shop.repeatability_pct, shop.smoothing_width_rpm)
    session = stored["session"]
    return ShopSpread(
        mean=RunSpread(*stored["mean"]),
        peak=RunSpread(*stored["peak"]),
        point=RunSpread(*stored["point"]),
        slope_pct_per_krpm=stored["slope_pct_per_krpm"],
        session=SessionSpread(*session) if session else SessionSpread(ASSUMED_SESSION_PCT, np.inf),
    )


def store_spread(spread: ShopSpread, at: datetime) -> dict[str, Any]:
    """Return a measured spread as the shop's profile stores it."""
    session = spread.session
    return {
        "measured_at": at.isoformat(timespec="seconds"),
        **{
            name: [round(run.sd_pct, 4), round(run.df, 2)]
            for name, run in (("mean", spread.mean), ("peak", spread.peak), ("point", spread.point))
        },
        "slope_pct_per_krpm": round(spread.slope_pct_per_krpm, 4),
        "session": None
        if session.assumed
        else [round(v, 4) for v in (session.sd_pct, session.df, session.mean_square_pct2, session.runs)],
    }
