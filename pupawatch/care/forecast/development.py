"""How warmth drives a pupa: the rate curve, and the development it sums to.

Development is counted in *reference days*: days at the profile's reference temperature that would bring a pupa as
far. In this unit the time a pupa needs hardly depends on the base assumed, so the two can be uncertain apart.

The rate is a straight line above the base with both ends rounded off (a difference of two softplus functions, the
integral of a logistic): below the base it does not stop dead, and towards the cap it levels off. Compared on the
constant-temperature experiment of 2019 (Ragonese et al., Proc. R. Soc. B 2024; 18, 22, 26, 30 and 34 °C), each
temperature left out in turn and predicted from the other four with a between-setting error of 10 %:

    curve                                    mean log score   CRPS, days
    straight line, base free, cap 33 °C           -1.622         0.764
    rounded line, softness 2 °C                   -1.598         0.740
    rounded line, softness 3 °C (used)            -1.574         0.679
    rounded line, softness 4 °C                   -1.587         0.708
    logistic (Davidson), 0.2 a °C                 -1.560         0.721
    square root, straight, cap 33 °C              -1.645         0.690
    square root with upper limit 42 °C            -1.549         0.738
    Briere, upper limit 42 °C                     -1.584         0.744

(``python -m tests.bench.rate_curves`` prints it.) The rounded line has the best CRPS, a better log score than the
straight one, and keeps the keeper's familiar words, base and heat need. Five temperatures cannot settle
more than that: the best curves differ by less than the incubators did.
"""

from typing import NamedTuple

import numpy as np

from pupawatch.care.forecast.timeline import Array, Timeline
from pupawatch.model.settings import Heat

SCENARIOS = np.array([-1.4634, -0.5988, 0.0, 0.5988, 1.4634])
"""Standard errors by which the unmeasured temperatures are off, one as likely as another: the middles of the fifths of
the normal distribution, spread so that their variance is 1."""
SCENARIO_WEIGHTS = np.full(5, 0.2)


def rate(celsius: Array, base_c: Array, heat: Heat) -> Array:
    """°C by which development runs above the base: the rounded line, or the plain one where the softness is 0."""
    softness = heat.softness_c
    if softness == 0:
        return np.clip(celsius - base_c, 0, np.maximum(heat.cap_temp_c - base_c, 0))
    return softness * (_softplus((celsius - base_c) / softness) - _softplus((celsius - heat.cap_temp_c) / softness))


def _softplus(x: Array) -> Array:
    return np.log1p(np.exp(np.minimum(x, 30))) + np.maximum(x - 30, 0)


class Curve(NamedTuple):
    """Development at one place since ``first_hour``, in reference days, for several scenarios and bases.

    summed: by scenario, base and hour edge.
    """

    first_hour: int
    summed: Array

    def at(self, hours: Array) -> Array:
        """Development up to these POSIX hours (any shape), by scenario and base first; held at the ends."""
        place = np.clip(hours - self.first_hour, 0, self.summed.shape[-1] - 1)
        edge = np.minimum(place.astype(np.intp), self.summed.shape[-1] - 2)
        share = place - edge
        return np.asarray(self.summed[..., edge] * (1 - share) + self.summed[..., edge + 1] * share)

    def likely(self, hour: float) -> float:
        """Development up to one POSIX hour, of the middle scenario and base."""
        row = self.summed[self.summed.shape[0] // 2, self.summed.shape[1] // 2]
        place = min(max(hour - self.first_hour, 0.0), len(row) - 1.0)
        edge = min(int(place), len(row) - 2)
        return float(row[edge] + (row[edge + 1] - row[edge]) * (place - edge))

    def between(self, since: float, until: float) -> "Curve":
        """The part of it that covers two POSIX hours, as far as it reaches."""
        edges = self.summed.shape[-1]
        begin = min(max(int(since - self.first_hour), 0), edges - 2)
        end = min(max(int(until - self.first_hour) + 2, begin + 2), edges)
        return Curve(self.first_hour + begin, self.summed[..., begin:end])

    def when(self, grown: float) -> float:
        """The POSIX hour at which a curve of one scenario and base reaches this development; held at the ends."""
        edge = min(max(int(np.searchsorted(self.summed, grown, side="right")) - 1, 0), len(self.summed) - 2)
        low, high = self.summed[edge], self.summed[edge + 1]
        return float(self.first_hour + edge + min(max((grown - low) / max(high - low, 1e-12), 0.0), 1.0))

    @property
    def middle(self) -> "Curve":
        """The curve of the middle scenario and base alone."""
        scenario, base = self.summed.shape[0] // 2, self.summed.shape[1] // 2
        return Curve(self.first_hour, self.summed[scenario, base])


def curve(line: Timeline, bases_c: Array, heat: Heat) -> Curve:
    """The development that one place's temperatures bring, for each scenario and base.

    Hours with readings that do not err are integrated over the readings themselves, by trapezia; the others take the
    rate at the middle of the hour.
    """
    hours = len(line.celsius)
    grown = np.empty((len(SCENARIOS), len(bases_c), hours))
    exact = line.error_c == 0
    off = line.celsius[~exact] + SCENARIOS[:, None] * line.error_c[~exact]
    grown[:, :, ~exact] = rate(off[:, None, :], bases_c[:, None], heat)
    written = exact & ~line.logged
    grown[:, :, written] = rate(line.celsius[written], bases_c[:, None], heat)
    read = exact & line.logged
    if read.any():
        grown[:, :, read] = _logged(line, bases_c, heat)[:, read]
    reference = rate(np.array(heat.reference_temp_c), bases_c, heat)
    grown /= 24 * reference[:, None]
    summed = np.zeros((*grown.shape[:2], hours + 1))
    np.cumsum(grown, axis=2, out=summed[:, :, 1:])
    return Curve(line.first_hour, summed)


def calendar_curve(first_hour: int, hours: int) -> Curve:
    """The curve of a pupa that goes by the calendar: one reference day a day, whatever the base."""
    return Curve(first_hour, np.arange(hours + 1.0)[None, None, :] / 24)


def _logged(line: Timeline, bases_c: Array, heat: Heat) -> Array:
    """Rate integrated over each hour, by trapezia between readings, by base."""
    edges = line.first_hour + np.arange(len(line.celsius) + 1.0)
    near = slice(
        max(0, int(np.searchsorted(line.at_hours, edges[0])) - 1),
        int(np.searchsorted(line.at_hours, edges[-1])) + 1,
    )
    at = line.at_hours[near]
    rates = rate(line.readings_c[near], bases_c[:, None], heat)
    steps = np.diff(at)
    summed = np.zeros_like(rates)
    np.cumsum((rates[:, 1:] + rates[:, :-1]) / 2 * steps, axis=1, out=summed[:, 1:])
    # At an hour's edge between two readings: whole trapezia before, and a part of one.
    before = np.clip(np.searchsorted(at, edges, side="right") - 1, 0, len(at) - 2)
    share = np.clip((edges - at[before]) / np.maximum(steps[before], 1e-12), 0, 1)
    there = rates[:, before] + share * (rates[:, before + 1] - rates[:, before])
    part = summed[:, before] + (rates[:, before] + there) / 2 * share * steps[before]
    return np.asarray(np.diff(part, axis=1))
