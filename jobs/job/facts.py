"""What several records print: charts and events."""

from dataclasses import dataclass, field

from jobs.job.facts_codec import LEFT_OUT_IF_NONE
from jobs.job.json_values import Curve


@dataclass(frozen=True)
class SeriesFacts:
    label: str
    state: str
    x: list[float]
    y: Curve
    low: Curve | None = field(default=None, metadata=LEFT_OUT_IF_NONE)
    high: Curve | None = field(default=None, metadata=LEFT_OUT_IF_NONE)


@dataclass(frozen=True)
class PanelFacts:
    title: str
    y_label: str
    y_unit: str
    digits: int
    series: list[SeriesFacts]


@dataclass(frozen=True)
class ChartFacts:
    x_label: str
    x_unit: str
    x_digits: int
    panels: list[PanelFacts]


@dataclass(frozen=True)
class EventFacts:
    at: str | None
    text: str
