"""The forecast: everything the pupae of one species share at one instant, and the outlook of each."""

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from math import isnan, nan, sqrt
from typing import Literal

import numpy as np

from pupawatch.care.forecast import rest, timeline
from pupawatch.care.forecast.belief import (
    Belief,
    Lesson,
    Prior,
    calendar_prior,
    heat_prior,
    lesson,
    taught,
    untaught,
)
from pupawatch.care.forecast.development import Curve, calendar_curve, curve
from pupawatch.care.forecast.gate import Gate
from pupawatch.care.forecast.predict import Distribution, Formed, distributions, spread
from pupawatch.care.forecast.records import (
    MORNINGS,
    Conditions,
    Finished,
    Grounds,
    Morning,
    Outlook,
    Stay,
    Warmth,
    Watched,
    Widths,
)
from pupawatch.care.forecast.rest import DARKER
from pupawatch.care.forecast.stages import Pace, learned_pace, pupated_between
from pupawatch.care.forecast.timeline import Array, Timeline, hours_of, moment_of
from pupawatch.model.codes import Basis
from pupawatch.model.settings import Profile
from pupawatch.model.times import coming_mornings, local_day, start_of_day

HORIZON_DAYS = 75
"""How far ahead the forecast looks."""
GUESSED_HOURS = 24
"""A pupa with more hours that nothing measured teaches by all that they may have been."""
LONGEST_DAYS = 45
"""A pupa that needs longer hangs too cold to finish: the longest told of took 29 days (a gardener's weblog, February in
a mild winter), and of longer cold nothing is known. Reasoned."""
OVERDUE_BELOW = 0.02
"""Overdue when no more than this share of such pupae would still be inside. No source."""
LOOK_BACK_DAYS = 21
"""An emergence that went unseen is looked for so far back at least."""
PAST_DAYS = 45
"""So far back at least the temperatures are looked at: what the weeks before were like, also where a logger was silent
since."""
REGIME_C, AHEAD_DAYS = 2.0, 7
"""What is learned is weighed anew for every 2 °C of mean temperature, taken over its past and so many days ahead."""
TOLD_DAYS, TOLD_SHARE = 14, 0.995
"""Days are told one by one for so many days at least, and until this share of the chance is told."""


Mode = Literal["whole", "measured", "sure"]
Lessons = dict[tuple[Finished, bool], Lesson]
"""What was learned of each finished pupa, by heat or by the calendar."""


class Forecaster:
    """The sky, the places' development and the belief that the pupae of one species share at one instant.

    Building one costs next to nothing: the curve of a place and the belief are worked out when first asked for, and
    kept. Make a new one when the hour, the temperatures or the finished pupae change; ask it only for the pupae that
    changed.
    """

    def __init__(
        self,
        profile: Profile,
        conditions: Conditions,
        now: datetime,
        finished: Sequence[Finished] = (),
        lessons: Lessons | None = None,
    ) -> None:
        """lessons: where those are kept that stay what they are, for another forecaster at another hour of the same
        profile and temperatures."""
        self._kept = {} if lessons is None else lessons
        self.profile, self.conditions, self.now = profile, conditions, now
        self._finished = [pupa for pupa in finished if pupa.emerged_to <= now]
        self._lessons: dict[bool, list[Lesson]] = {}
        self._beliefs: dict[int | None, Belief] = {}
        self._paces: dict[bool, Pace] = {}
        self._priors: dict[bool, Prior] = {}
        self._means: dict[int, tuple[float, float, float]] = {}
        self._lines: dict[str, Timeline] = {}
        self._curves: dict[tuple[str, bool, Mode], Curve] = {}
        # In POSIX hours from where the curves begin, and for how many hours.
        self._first, self._hours = self._span(hours_of(now))

    def outlooks(self, pupae: Sequence[Watched]) -> list[Outlook]:
        """The outlook of each pupa, in the same order."""
        told: dict[int, Outlook] = {}
        for by_heat in (True, False):
            chosen = [n for n, pupa in enumerate(pupae) if self.has_heat(pupa) == by_heat]
            if chosen:
                told.update(zip(chosen, self._outlooks([pupae[n] for n in chosen], by_heat), strict=True))
        return self._with_rest(pupae, [told[n] for n in range(len(pupae))])

    def _with_rest(self, pupae: Sequence[Watched], direct: list[Outlook]) -> list[Outlook]:
        """The outlooks of those that may rest until spring, by both possibilities."""
        sky, limit = self.conditions.sky, self.profile.heat.rest_day_length_hours
        odds = [rest.odds(self.profile, sky, pupa, self.now) for pupa in pupae]
        if limit is None or not any(odds):
            return direct
        if sky.latitude is not None:
            limit = rest.limit_at(limit, sky.latitude)
        since = {n: at for n, pupa in enumerate(pupae) if odds[n] and (at := rest.midwinter(sky, pupa)) < self.now}
        woken = [n for n in since if self.has_heat(rest.wintered(pupae[n], since[n]))]
        spring = dict(zip(woken, self._spring([rest.wintered(pupae[n], since[n]) for n in woken]), strict=True))
        return [
            rest.both(one, odds[n], rest.light_hours(sky, pupae[n]), limit, spring.get(n)) if odds[n] else one
            for n, one in enumerate(direct)
        ]

    def _spring(self, pupae: Sequence[Watched]) -> list[Outlook]:
        if not pupae:
            return []
        told = {name: getattr(self.profile, name) for name in self.profile.__struct_fields__}
        profile = type(self.profile)(**{**told, "heat": rest.of_spring(self.profile.heat)})
        return Forecaster(profile, self.conditions, self.now)._outlooks(pupae, by_heat=True)

    def distributions(self, pupae: Sequence[Watched], by_heat: bool = True) -> list[Distribution]:
        """The whole distribution of each pupa's emergence, resting or not; by heat or by the calendar."""
        return self._distributed(pupae, by_heat)[1] if pupae else []

    def has_heat(self, pupa: Watched) -> bool:
        """Whether temperatures are known of every place it hung in, from its time there or shortly before."""
        return self._told(pupa.stays, pupa.formed_to - timedelta(days=LOOK_BACK_DAYS), self.now)

    def _told(self, stays: Sequence[Stay], since: datetime, until: datetime) -> bool:
        known = self.conditions.temperatures
        return all(stay.place in known and known[stay.place].tells_of(since, until) for stay in stays)

    def belief(self, celsius: float = nan, by_heat: bool = True) -> Belief:
        """What is believed of a pupa that grows at a mean of ``celsius``, after the keeper's own finished pupae.

        celsius: nan takes the profile's reference temperature. by_heat: False is the belief by the calendar.
        """
        heat = self.profile.heat
        regime = round((heat.reference_temp_c if isnan(celsius) else celsius) / REGIME_C) if by_heat else None
        if regime not in self._beliefs:
            prior, lessons = self._prior(by_heat), self._learnt(by_heat)
            between = heat.pupal_heat_sd / heat.pupal_heat_cd * heat.reference_days / heat.within_sd_days
            at = heat.reference_temp_c if regime is None else regime * REGIME_C
            self._beliefs[regime] = taught(prior, lessons, at, between) if lessons else untaught(prior)
        return self._beliefs[regime]

    def _prior(self, by_heat: bool) -> Prior:
        if by_heat not in self._priors:
            self._priors[by_heat] = heat_prior(self.profile) if by_heat else calendar_prior(self.profile)
        return self._priors[by_heat]

    def _learnt(self, by_heat: bool) -> list[Lesson]:
        if by_heat not in self._lessons:
            own = [
                pupa
                for pupa in self._finished
                if not by_heat or self._told(pupa.stays, pupa.formed_to, pupa.emerged_to)
            ]
            self._lessons[by_heat] = self._learn(own, by_heat) if own else []
        return self._lessons[by_heat]

    def _learn(self, own: Sequence[Finished], by_heat: bool) -> list[Lesson]:
        keys = [(pupa._replace(stays=tuple(pupa.stays), sightings=()), by_heat) for pupa in own]
        new = [pupa for pupa, key in zip(own, keys, strict=True) if key not in self._kept]
        if new:
            self._reach(min(hours_of(pupa.formed_from or pupa.formed_to) for pupa in new))
        prior = self._prior(by_heat)
        curve_of = self._curve_of(prior.bases_c, by_heat)
        lessons = []
        for pupa, key in zip(own, keys, strict=True):
            if key in self._kept:
                lessons.append(self._kept[key])
                continue
            # By the calendar nothing is known of warmth, and all pupae are alike.
            span = hours_of(pupa.formed_to), hours_of(pupa.emerged_to)
            celsius = self._mean_c(pupa.stays, *span) if by_heat else self.profile.heat.reference_temp_c
            # A gate of its own: between two seasons lie hundreds of dawns that nobody asks for.
            out = hours_of(pupa.emerged_from), hours_of(pupa.emerged_to)
            guessed = by_heat and self._filled_between(pupa.stays, *span) > GUESSED_HOURS
            gate = Gate.between(*out, self.conditions.sky, self.profile.heat)
            lessons.append(lesson(prior, pupa, celsius, curve_of, gate, guessed))
            if gate.ends[-1] <= hours_of(self.now):  # it rests on what was measured alone
                self._kept[key] = lessons[-1]
        return lessons

    def _mean_c(self, stays: Sequence[Stay], since: float, until: float) -> float:
        """The mean temperature it grew at, in °C, over its stays between two POSIX hours."""
        bounds = [since, *(hours_of(stay.since) for stay in stays[1:]), until]
        parts = [
            self._line(stay.place).celsius[int(begin) - self._first : int(end) + 1 - self._first]
            for stay, begin, end in zip(stays, bounds, bounds[1:], strict=False)
        ]
        return float(np.concatenate(parts).mean())

    def _span(self, first: float) -> tuple[int, int]:
        now = hours_of(self.now)
        begin = int(min(first - 48, now - 24 * PAST_DAYS))
        return begin, int(now) + 24 * (HORIZON_DAYS + 2) - begin

    def _reach(self, first: float) -> None:
        """Let the curves begin before this POSIX hour; those that begin later are worked out anew."""
        if first - 24 < self._first:
            self._first, self._hours = self._span(first)
            self._lines.clear()
            self._curves.clear()

    def _curve_of(self, bases_c: Array, by_heat: bool, mode: Mode = "whole") -> Callable[[str], Curve]:
        """The development at a place by its name; by mode in all its hours, only in those that something measured, or
        as if nothing of the temperatures were unsure."""

        def made(place: str) -> Curve:
            if not by_heat:
                return calendar_curve(self._first, self._hours)
            line = self._line(place)
            if mode != "whole":
                line = timeline.measured_alone(line) if mode == "measured" else timeline.as_if_sure(line)
            return curve(line, bases_c, self.profile.heat)

        def curve_of(place: str) -> Curve:
            key = (place if by_heat else "", by_heat, mode)
            if key not in self._curves:
                self._curves[key] = made(place)
            return self._curves[key]

        return curve_of

    def _line(self, place: str) -> Timeline:
        if place not in self._lines:
            sky, known = self.conditions.sky, self.conditions.temperatures[place]
            known = known._replace(error_c=self._unlearned_c(known.error_c, place))
            self._lines[place] = timeline.build(known, sky, self._first, hours_of(self.now), self._hours)
        return self._lines[place]

    def _unlearned_c(self, error_c: float, place: str) -> float:
        """What is left of the error of a place's loggers, in °C, after the pupae that emerged there.

        What they seemed to need holds the error already, and the loggers will err alike for the next. Each pupa tells
        of it with the scatter of single pupae (the posterior of a normal mean).
        """
        heat = self.profile.heat
        of_one = error_c / (heat.reference_temp_c - heat.base_temp_c) / (heat.within_sd_days / heat.reference_days)
        there = sum(1 for pupa in self._finished if pupa.stays[-1].place == place)
        return error_c / sqrt(1 + there * of_one**2)

    def _formed(self, pupa: Watched) -> Formed:
        """The formation interval; where its start is not known, as far back as can well be."""
        until = hours_of(pupa.formed_to)
        if pupa.formed_from is not None:
            return Formed(hours_of(pupa.formed_from), until)
        if pupa.sightings and pupa.sightings[0].stage in DARKER:
            return Formed(until - 48 * self.profile.pupal_days_high, until)
        soft = any(seen.stage == "soft" for seen in pupa.sightings)
        return Formed(until - (self.profile.soft_hours if soft else 24 * self.profile.pupal_days_low), until)

    def _dated(self, pupa: Watched, by_heat: bool) -> Formed:
        """The formation interval, narrowed by a dark colour where it agrees with one."""
        formed = self._formed(pupa)
        first = pupa.stays[1].since if len(pupa.stays) > 1 else self.now
        if not any(seen.stage in DARKER and seen.at <= first for seen in pupa.sightings):
            return formed
        prior = self._prior(by_heat)
        curve = self._curve_of(prior.bases_c, by_heat)(pupa.stays[0].place).middle
        told = pupated_between(pupa.sightings, float(np.exp(prior.needs.mean())), curve)
        if told is None or told[1] <= formed.since or told[0] >= formed.until:
            return formed
        return Formed(max(formed.since, told[0]), min(formed.until, told[1]))

    def _pace_of(self, by_heat: bool) -> Pace:
        """How long the colour stages last with this keeper."""
        if by_heat not in self._paces:
            seen = [pupa for pupa in self._finished if any(one.stage in DARKER for one in pupa.sightings)]
            told = [pupa for pupa in seen if not by_heat or self._told(pupa.stays, pupa.formed_to, pupa.emerged_to)]
            recent = [pupa for pupa in told if hours_of(pupa.formed_to) >= self._first]
            curve_of = self._curve_of(self._prior(by_heat).bases_c, by_heat)
            self._paces[by_heat] = learned_pace(recent, self.profile, curve_of)
        return self._paces[by_heat]

    def _distributed(
        self, pupae: Sequence[Watched], by_heat: bool, mode: Mode = "whole", beliefs: Sequence[Belief] = ()
    ) -> tuple[Gate, list[Distribution]]:
        self._reach(min(self._formed(pupa).since for pupa in pupae))
        self._learnt(by_heat)  # may reach further back, so before any curve is used
        now = hours_of(self.now)
        begin = min(now - 24 * LOOK_BACK_DAYS, min(hours_of(pupa.alive_at) for pupa in pupae) - 24)
        end = now + 24 * HORIZON_DAYS
        gate = Gate.between(max(begin, self._first + 48), end, self.conditions.sky, self.profile.heat)
        curve_of = self._curve_of(self._prior(by_heat).bases_c, by_heat, mode)
        formed = [self._dated(pupa, by_heat) for pupa in pupae]
        beliefs = beliefs or self._beliefs_of(pupae, by_heat)
        return gate, distributions(
            spread(pupae, formed, beliefs, curve_of, gate, self.profile, now, self._pace_of(by_heat))
        )

    def _beliefs_of(self, pupae: Sequence[Watched], by_heat: bool) -> list[Belief]:
        """What is believed of each pupa, once the curves reach back to its pupation."""
        self._reach(min(self._formed(pupa).since for pupa in pupae))
        self._learnt(by_heat)
        return [self._belief_of(pupa, by_heat) for pupa in pupae]

    def _belief_of(self, pupa: Watched, by_heat: bool) -> Belief:
        if not by_heat:
            return self.belief(by_heat=False)
        # What it lived through, and as long ahead as the weather can be guessed.
        until = hours_of(self.now) + 24 * AHEAD_DAYS
        return self.belief(self._mean_c(pupa.stays, hours_of(pupa.formed_to), until))

    def _outlooks(self, pupae: Sequence[Watched], by_heat: bool) -> list[Outlook]:
        beliefs = self._beliefs_of(pupae, by_heat)
        gate, found = self._distributed(pupae, by_heat, beliefs=beliefs)
        teller = _Teller(gate, self.now, self.conditions.sky.zone, self.profile.release_after_hours)
        learned = len(self._learnt(by_heat))
        filled = [self._filled_hours(pupa) if by_heat else 0 for pupa in pupae]
        late = self._late(pupae, found, filled, by_heat)
        outlooks = []
        for n, (pupa, distribution) in enumerate(zip(pupae, found, strict=True)):
            grounds = Grounds(
                learned,
                filled[n],
                pupa.formed_from is not None,
                self.conditions.sky.known,
                self.profile.overwinters,
                self._warmth(pupa, beliefs[n]) if by_heat else None,
                self._backwards(pupa, by_heat),
            )
            outlook = teller.outlook(distribution, "heat" if by_heat else "calendar", grounds, n in late)
            outlooks.append(outlook._replace(too_cold=by_heat and _is_too_cold(pupa, outlook)))
        return outlooks

    def _backwards(self, pupa: Watched, by_heat: bool) -> tuple[datetime, datetime] | None:
        if not pupa.sightings:
            return None
        wide, narrow = self._formed(pupa), self._dated(pupa, by_heat)
        if narrow == wide or (
            pupa.formed_from is not None and narrow.until - narrow.since > 0.5 * (wide.until - wide.since)
        ):
            return None
        return moment_of(narrow.since), moment_of(narrow.until)

    def _warmth(self, pupa: Watched, belief: Belief) -> Warmth:
        """How far warmth has brought it since the middle of its pupation, by what is most likely."""
        if id(belief) not in self._means:  # kept as long as the belief itself
            self._means[id(belief)] = belief.mean()
        base, days, spread = self._means[id(belief)]
        curve_of = self._curve_of(belief.prior.bases_c, by_heat=True)
        formed = sum(self._dated(pupa, by_heat=True)) / 2
        bounds = [formed, *(max(formed, hours_of(stay.since)) for stay in pupa.stays[1:]), hours_of(self.now)]
        grown = sum(
            curve_of(stay.place).likely(until) - curve_of(stay.place).likely(since)
            for stay, since, until in zip(pupa.stays, bounds, bounds[1:], strict=False)
        )
        above = self.profile.heat.reference_temp_c - base
        return Warmth(base, max(0.0, grown) * above, days * above, spread)

    def widths(self, pupa: Watched) -> Widths:
        """Where the uncertainty of one pupa's date comes from."""
        by_heat = self.has_heat(pupa)
        formed = self._formed(pupa)
        middle = moment_of(sum(formed) / 2)
        known = pupa._replace(formed_from=middle, formed_to=middle)
        asked: tuple[tuple[Watched, Mode], ...] = ((pupa, "whole"), (pupa, "sure"), (known, "whole"))
        found = [self._distributed([one], by_heat, mode)[1][0].quantiles(0.1, 0.9) for one, mode in asked]
        return Widths(*(None if low is None or high is None else (high - low) / 24 for low, high in found))

    def _late(
        self, pupae: Sequence[Watched], found: Sequence[Distribution], filled: Sequence[int], by_heat: bool
    ) -> set[int]:
        """Which of the pupae are overdue, by what was measured: none is on guessed warmth alone.

        By the calendar no warmth is known at all: overdue is then only what was seen dark or hangs longer than any did.
        """
        late = [n for n, one in enumerate(found) if one.left < OVERDUE_BELOW]
        if not by_heat:
            longest = timedelta(days=LONGEST_DAYS)
            return {n for n in late if _was_dark(pupae[n]) or pupae[n].alive_at - pupae[n].formed_to > longest}
        unsure = [n for n in late if filled[n]]
        if not unsure:
            return set(late)
        again = self._distributed([pupae[n] for n in unsure], by_heat, mode="measured")[1]
        return set(late) - {n for n, one in zip(unsure, again, strict=True) if one.left >= OVERDUE_BELOW}

    def _filled_hours(self, pupa: Watched) -> int:
        return self._filled_between(pupa.stays, self._formed(pupa).since, hours_of(self.now))

    def _filled_between(self, stays: Sequence[Stay], since: float, until: float) -> int:
        bounds = [since, *(hours_of(stay.since) for stay in stays[1:]), until]
        total = 0
        for stay, begin, end in zip(stays, bounds, bounds[1:], strict=False):
            line = self._line(stay.place)
            total += int(line.filled[max(0, int(begin) - line.first_hour) : int(end) - line.first_hour].sum())
        return total


def _was_dark(pupa: Watched) -> bool:
    return any(seen.stage in DARKER for seen in pupa.sightings)


def _is_too_cold(pupa: Watched, outlook: Outlook) -> bool:
    """Whether it needs longer than any pupa was seen to take."""
    return outlook.median is None or outlook.median - pupa.formed_to > timedelta(days=LONGEST_DAYS)


class _Teller:
    """Reads medians, odds and days off a distribution; what all pupae share is worked out once."""

    def __init__(self, gate: Gate, now: datetime, zone: str, dries_hours: float) -> None:
        today = local_day(now, zone)
        self.zone = zone
        self.days = [today + timedelta(days=n) for n in range(HORIZON_DAYS)]
        closes = int(np.searchsorted(gate.ends[1:], hours_of(now), side="right"))
        self.morning = moment_of(gate.starts[closes]), moment_of(gate.ends[closes + 1])
        midnights = [hours_of(start_of_day(day, zone)) for day in [*self.days, today + timedelta(days=HORIZON_DAYS)]]
        mornings = [hours_of(at) for at in coming_mornings(now, zone, MORNINGS)]
        self.looks = tuple(coming_mornings(now, zone, MORNINGS))
        gone = [at - dries_hours for at in mornings]
        self.asked = np.array([gate.ends[closes + 1], *mornings, *gone, *midnights])
        self.horizon = moment_of(gate.ends[-1])

    def outlook(self, found: Distribution, basis: Basis, grounds: Grounds, overdue: bool) -> Outlook:
        by_morning, *out = found.by(self.asked).tolist()
        inside, present = (tuple(1.0 - chance for chance in out[n : n + MORNINGS + 1]) for n in (0, MORNINGS + 1))
        already, by_midnight = out[0], out[2 * (MORNINGS + 1) :]
        low, median, high = (None if at is None else moment_of(at) for at in found.quantiles(0.1, 0.5, 0.9))
        by_day = []
        for index, day in enumerate(self.days):
            if index >= TOLD_DAYS and by_midnight[index] > TOLD_SHARE * (1 - found.later):
                break
            by_day.append((day, by_midnight[index + 1] - by_midnight[index]))
        return Outlook(
            basis=basis,
            median=median,
            low=low,
            high=high,
            by_day=tuple(by_day),
            already=already,
            later=found.later,
            morning=Morning(*self.morning, by_morning),
            overdue=overdue,
            time_left=found.left,
            horizon=self.horizon,
            grounds=grounds,
            inside=inside,
            present=present,
            days=None
            if low is None
            else (local_day(low, self.zone), None if high is None else local_day(high, self.zone)),
            looks=self.looks,
        )
