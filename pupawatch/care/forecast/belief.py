"""What is believed of a species: how long its pupae need, and how much the keeper's own have changed that."""

from collections.abc import Callable, Sequence
from functools import lru_cache
from math import log, sqrt
from typing import NamedTuple

import numpy as np

from pupawatch.care.forecast.development import Curve
from pupawatch.care.forecast.gate import Gate
from pupawatch.care.forecast.records import Finished, Stay
from pupawatch.care.forecast.timeline import Array, hours_of
from pupawatch.model.settings import Profile

STRAYS, STRAY_SCALE = 0.02, 0.25
"""This share of pupae (a slip of the pen, a corner with its own climate, a weak pupa) scatters far more widely: a
logistic of the logarithm with this scale. So the answer widens where the rule fails, and never insists. No source."""

ALIKE_WITHIN_C = 6.0
"""Over so many °C of mean temperature the rate curve's error changes. No source; the incubators of the experiment of
2019, 4 °C apart, erred by about 10 % from one to the next."""

SHARED = 0.5
"""So much of what a keeper's pupae differ by is a factor of the keeper's stock and care, the same at every temperature;
the rest is the curve's own error there. No source."""

FORMATION_POINTS = (np.arange(4) + 0.5) / 4
"""Where in its formation interval a pupa is taken to have formed, in turn."""

_BASES = np.linspace(-2, 2, 5)
_NEEDS = np.linspace(-4, 4, 61)
_SPREADS = np.array([0.4, 0.63, 1.0, 1.58, 2.5])
_SPREAD_LOG_SD = 0.5
_LOGISTIC_SD = np.pi / sqrt(3)  # the standard deviation of the standard logistic distribution
_TABLE_TO, _TABLE_POINTS = 5.0, 1024


class Prior(NamedTuple):
    """Where the belief starts: bases (°C) and the logarithm of the reference days needed, each with weights.

    spreads: how far the single pupae of a keeper scatter, as the scale of a logistic distribution of the logarithm.
    ready: by need and spread (in one row each) and reference day from 0 in steps of ``step_days`` the chance to be
    ready.
    """

    bases_c: Array
    needs: Array
    spreads: Array
    log_weights: Array
    ready: Array
    step_days: float


class Belief(NamedTuple):
    """A distribution over (base, need, spread), and from it the chance to be ready by so many reference days.

    log_weights: by base, need, spread, summing to 1. table: by base and reference day from 0 in steps of ``step_days``
    the chance, base's weight included. learned: how many of the keeper's pupae it rests on.
    """

    prior: Prior
    log_weights: Array
    table: Array
    step_days: float
    learned: int

    def ready(self, grown: Array, base: int) -> Array:
        """Base number ``base``'s part of the chance to be ready after ``grown`` reference days (any shape)."""
        row = self.table[base]
        place = grown * (1 / self.step_days)
        np.clip(place, 0, len(row) - 1.001, out=place)
        cell = place.astype(np.intp)
        place -= cell
        place *= np.diff(row).take(cell, mode="clip")  # "clip" alone is taken without a check of every index
        place += row.take(cell, mode="clip")
        return np.asarray(place)

    def mean(self) -> tuple[float, float, float]:
        """The expected base in °C, median reference days, and relative spread of single pupae (one sd)."""
        weights, prior = np.exp(self.log_weights), self.prior
        base = float(weights.sum((1, 2)) @ prior.bases_c)
        need = float(np.exp(weights.sum((0, 2)) @ prior.needs))
        return base, need, float(weights.sum((0, 1)) @ prior.spreads * _LOGISTIC_SD)


def heat_prior(profile: Profile) -> Prior:
    """The profile's belief: base and heat need both uncertain, the need as sure as one setting tells of another."""
    heat = profile.heat
    between = heat.pupal_heat_sd / heat.pupal_heat_cd
    within = heat.within_sd_days / heat.reference_days
    # Beside the scatter within one setting, weather and the curve's own error scatter a keeper's pupae.
    bases = tuple(heat.base_temp_c + heat.base_temp_sd * _BASES)
    return _prior(bases, heat.reference_days, between, max(within, between / 2))


def calendar_prior(profile: Profile) -> Prior:
    """The belief where no temperature is known: four in five within the usual days, as many before as after."""
    low, high = profile.pupal_days_low, max(profile.pupal_days_high, profile.pupal_days_low * 1.1)
    total = log(high / low) / (2 * 1.2816)  # 1.2816: the normal distribution's 90 % point
    return _prior((0.0,), sqrt(low * high), total * 0.8, total * 0.6)


@lru_cache(maxsize=32)
def _prior(bases_c: tuple[float, ...], days: float, between: float, within: float) -> Prior:
    base_weight = -0.5 * _BASES**2 if len(bases_c) > 1 else np.zeros(1)
    spread_weight = -0.5 * (np.log(_SPREADS) / _SPREAD_LOG_SD) ** 2
    log_weights = base_weight[:, None, None] - 0.5 * _NEEDS[:, None] ** 2 + spread_weight
    needs, spreads = log(days) + between * _NEEDS, _SPREADS * within / _LOGISTIC_SD
    step = _TABLE_TO * float(np.exp(needs.mean())) / _TABLE_POINTS
    at = np.log(np.maximum(np.arange(_TABLE_POINTS + 1) * step, 1e-6))
    ready = _ready((at - needs[:, None])[:, None], spreads[:, None]).reshape(-1, len(at))
    return Prior(np.array(bases_c), needs, spreads, _normalised(log_weights), ready, step)


def untaught(prior: Prior) -> Belief:
    """The belief before any pupa of the keeper's own."""
    return _belief(prior, prior.log_weights, 0)


class Lesson(NamedTuple):
    """One finished pupa: at what mean temperature it grew (°C), and the log chance of its emerging when it did.

    log_chance: by base, need and spread, as the weights of the prior.
    """

    celsius: float
    log_chance: Array


def lesson(
    prior: Prior,
    pupa: Finished,
    celsius: float,
    curve_of: Callable[[str], Curve],
    gate: Gate,
    guessed: bool = False,
) -> Lesson:
    """What a pupa teaches that is known only between two instants at both ends.

    It counts by the chance that each (base, need, spread) gives to its emerging when it did: ready by then, as
    log-logistic in development, and waiting for the morning. curve_of: the development at a place by name. guessed:
    whether its warmth was, in part.
    """
    return Lesson(celsius, np.log(_chance(prior, pupa, curve_of, gate, guessed)))


def taught(prior: Prior, lessons: Sequence[Lesson], celsius: float, between_over_within: float) -> Belief:
    """The belief for a pupa that grows at a mean of ``celsius``, after the keeper's own.

    One setting errs from another (between), and pupae that grew alike err together: a hundred of them from one warm
    room say much of that room and little of a cold one. So each counts as one over its design effect (Kish, Survey
    Sampling, 1965; from memory): 1 + company * (between / within)² * 2 * (1 - likeness), where likeness falls with the
    distance in temperature, down to what is SHARED by all.
    """
    at = np.array([lesson.celsius for lesson in lessons])
    likeness, company = _likeness(at - celsius), _likeness(at[:, None] - at).sum(axis=1)
    counts = 1 / (1 + company * between_over_within**2 * 2 * (1 - likeness))
    log_weights = prior.log_weights.copy()
    for count, told in zip(counts, lessons, strict=True):
        log_weights += count * told.log_chance
    return _belief(prior, _normalised(log_weights), len(lessons))


def _likeness(apart_c: Array) -> Array:
    """How much the errors at two temperatures have in common."""
    return np.asarray(SHARED + (1 - SHARED) * np.exp(-0.5 * (apart_c / ALIKE_WITHIN_C) ** 2))


def formation_hours(formed_from_hours: float, formed_to_hours: float) -> Array:
    """The instants at which it is taken to have formed, in POSIX hours."""
    return formed_from_hours + FORMATION_POINTS * (formed_to_hours - formed_from_hours)


def behind(formed: Array, stays: Sequence[Stay], curve_of: Callable[[str], Curve]) -> Array:
    """What to take from the last place's curve to have a pupa's own development, by formation, scenario and base.

    A pupa that never moved began when it formed; one that did brings along what it grew elsewhere.
    """
    curves = [curve_of(stay.place) for stay in stays]
    offset = np.moveaxis(curves[0].at(formed), -1, 0)
    for old, new, stay in zip(curves, curves[1:], stays[1:], strict=False):
        moved = np.maximum(formed, hours_of(stay.since))
        offset = offset + np.moveaxis(new.at(moved) - old.at(moved), -1, 0)
    return np.asarray(offset)


def _chance(prior: Prior, pupa: Finished, curve_of: Callable[[str], Curve], gate: Gate, guessed: bool) -> Array:
    emerged = np.array([hours_of(pupa.emerged_from), hours_of(pupa.emerged_to)])
    formed_to = hours_of(pupa.formed_to)
    formed_from = formed_to if pupa.formed_from is None else hours_of(pupa.formed_from)
    before, after, share = gate.around(emerged)
    last = curve_of(pupa.stays[-1].place).at(np.concatenate((before, after)))
    offset = behind(formation_hours(formed_from, formed_to), pupa.stays, curve_of)
    grown = last[None] - offset[..., None]  # by formation, scenario, base, instant
    # Where its warmth was partly guessed it teaches by every scenario, else by what was measured: a logger that is
    # wrong is as wrong for the next pupa in its place.
    scenarios = range(grown.shape[1]) if guessed else [grown.shape[1] // 2]
    chances = [_out_between(grown[:, one], share, prior) for one in scenarios]
    return np.asarray(np.maximum(sum(chances) / len(chances), 1e-9))


def _out_between(grown: Array, share: Array, prior: Prior) -> Array:
    """The chance to emerge between two instants, by base, need and spread. grown: by formation, base and instant."""
    past = np.log(np.maximum(np.moveaxis(grown, 2, 1), 1e-6))[..., None, None] - prior.needs[:, None]
    ready = _ready(past, prior.spreads)
    out = ready[:, :2] + share[:, None, None, None] * (ready[:, 2:] - ready[:, :2])
    return np.asarray((out[:, 1] - out[:, 0]).mean(axis=0))


def _ready(past: Array, spread: Array) -> Array:
    """The chance to be ready, ``past`` being the logarithm of development over need."""
    chance = _logistic(past / -spread)
    chance *= 1 - STRAYS
    chance += STRAYS * _logistic(past / -STRAY_SCALE)
    return chance


def _logistic(minus_x: Array) -> Array:
    """The logistic function of the negative of an array, which it overwrites: its tables are large, and asking the
    system for memory took longer than the reckoning."""
    np.clip(minus_x, -50, 50, out=minus_x)
    np.exp(minus_x, out=minus_x)
    minus_x += 1
    return np.reciprocal(minus_x, out=minus_x)


def _belief(prior: Prior, log_weights: Array, learned: int) -> Belief:
    # The scatter of one pupa does not depend on the base, so one matrix serves them all.
    weights = np.exp(log_weights).reshape(len(prior.bases_c), -1)
    return Belief(prior, log_weights, weights @ prior.ready, prior.step_days, learned)


def _normalised(log_weights: Array) -> Array:
    top = log_weights.max()
    return np.asarray(log_weights - top - np.log(np.exp(log_weights - top).sum()))
