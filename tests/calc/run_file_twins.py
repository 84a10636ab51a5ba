"""Files with the faults of real ones, each made from one invented engine whose curve is known."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# The peak of the cubic that `true_power_kw` is.
PEAK_KW, PEAK_RPM = 63.135, 9_041.0
SECOND = 1.06  # the second pull is 6 % stronger
FROM_RPM, TO_RPM = 3_000.0, 11_200.0
HEADER = "Time [s],Engine speed [rpm],Power [kW],Torque [Nm],Throttle grip [%],Lambda"
BARE = "Time,Engine speed,Power,Torque,Throttle grip,Lambda"
PLACES = (3, 1, 3, 3, 1, 3)


def true_torque_nm(engine_speed_rpm: npt.ArrayLike) -> Floats:
    """Return a parabola with its top, 72 N·m, at 7,600 1/min."""
    return 72 - 2.56 * ((np.asarray(engine_speed_rpm, dtype=float) - 7_600) / 1_000) ** 2


def true_power_kw(engine_speed_rpm: npt.ArrayLike) -> Floats:
    speed = np.asarray(engine_speed_rpm, dtype=float)
    return true_torque_nm(speed) * speed * np.pi / 30_000


@dataclass(frozen=True)
class Samples:
    """Samples of a file, a row each: time, engine speed, power, torque, grip and lambda."""

    rows: Floats

    def __add__(self, other: "Samples") -> "Samples":
        """Return the other's samples behind these, on the same clock."""
        later = other.rows.copy()
        later[:, 0] += self.rows[-1, 0] + self.rows[1, 0] - self.rows[0, 0]
        return Samples(np.vstack([self.rows, later]))

    def part(self, rows: slice) -> "Samples":
        return Samples(self.rows[rows])

    def lines(self, delimiter: str = ",") -> list[str]:
        return [
            delimiter.join(f"{value:.{places}f}" for value, places in zip(row, PLACES, strict=True))
            for row in self.rows
        ]


def pull(gain: float = 1.0, rate_hz: float = 100.0, seed: int = 1) -> Samples:
    """Make a pull at full throttle from 3,000 to 11,200 1/min in 9 s, with noise of a pick-up."""
    time = np.arange(round(9 * rate_hz) + 1) / rate_hz
    true = FROM_RPM + (TO_RPM - FROM_RPM) * time / 9
    return _samples(time, true, np.full(time.size, 100.0), gain, seed)


def table(gain: float = 1.0, step_rpm: float = 250.0) -> Samples:
    """Make a table by engine speed, as a report of figures holds it."""
    speed = np.arange(FROM_RPM, TO_RPM + 1, step_rpm)
    return _samples(np.arange(speed.size) / 4, speed, np.full(speed.size, 100.0), gain, None)


def roll_on(seed: int = 2) -> Samples:
    time = np.arange(150) / 100
    return _samples(time, 2_600 + 400 * time / 1.5, np.clip(20 + 60 * time, 20, 99), 0.3, seed)


def overrun(seed: int = 3) -> Samples:
    time = np.arange(300) / 100
    return _samples(time, TO_RPM - (TO_RPM - 2_600) * (time / 3) ** 0.7, np.zeros(time.size), -0.15, seed)


def _samples(time: Floats, speed: Floats, grip: Floats, gain: float, seed: int | None) -> Samples:
    random = np.random.default_rng(seed)
    noise = random.normal(0, 1, (2, time.size)) if seed is not None else np.zeros((2, time.size))
    power = gain * true_power_kw(speed) * (1 + 0.002 * noise[0])
    seen = speed + 4 * noise[1]
    torque = power * 30_000 / np.pi / seen
    lambda_ = 0.88 + 0.031 * np.sin(speed / 1_200)
    return Samples(np.column_stack([time, seen, power, torque, grip, lambda_]))


def whole_run(gain: float = 1.0) -> Samples:
    """Make one run of a file: roll-on, pull and overrun."""
    return roll_on() + pull(gain) + overrun()


def text(lines: Iterable[str], header: str = HEADER, end: str = "\n") -> bytes:
    return end.join([header, *lines, ""]).encode()


def scaled(samples: Samples, **factors: float) -> Samples:
    """Return the samples in other units: factor by column name."""
    names = ("time", "speed", "power", "torque", "grip", "lambda_")
    by_column = np.array([factors.get(name, 1.0) for name in names])
    return replace(samples, rows=samples.rows * by_column)
