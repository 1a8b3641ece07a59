"""How forecasts are put into words: when a pupa is due, what the days may bring, heat, and how good past ones were."""

from collections.abc import Iterator, Mapping
from datetime import date, datetime
from math import exp
from typing import TYPE_CHECKING

from pupawatch.care.forecast.heat import Warned
from pupawatch.care.forecast.loggers import Loggers
from pupawatch.care.forecast.records import Grounds, Outlook, Rest, Warmth, Widths
from pupawatch.model.codes import Basis
from pupawatch.model.degrees import Unit, shown_degrees
from pupawatch.model.text import counted, in_percent
from pupawatch.model.times import instant, local_day, shown_time

if TYPE_CHECKING:  # only named here: what starts often shall start quickly
    from pupawatch.care.forecast.ahead import Expected
    from pupawatch.care.forecast.scoring import Score
    from pupawatch.care.round import Standing

_NEAR_DAYS = 20
"""Up to so many days off a day is told by its weekday."""
_LIKELY = 0.5
_TOLD_SHARE = 1.5
"""Of more heat than so much of the need nothing is said; the signs tell more then."""


def due_words(outlook: Outlook | None, now: datetime, zone: str) -> str:
    """When it is due, in a few words: the likeliest day and how far it may be off; "" where nothing is forecast."""
    if outlook is None:
        return ""
    if outlook.basis == "rest" and outlook.median is None:
        if outlook.otherwise is None:
            return "may overwinter"
        return f"due {_day_words(local_day(outlook.otherwise.median, zone), local_day(now, zone))}, or in spring"
    if is_likely_out(outlook):
        return "probably out: check"
    if outlook.overdue:
        return "overdue, check it"
    if outlook.too_cold:
        return "too cold to finish here: bring it in"
    if outlook.median is None or outlook.low is None:
        return "due in many weeks"
    low, median, today = (local_day(at, zone) for at in (outlook.low, outlook.median, now))
    if outlook.high is None:
        return f"due {_day_words(median, today)}, from {_day_words(low, today)}"
    high = local_day(outlook.high, zone)
    if low == high:
        return f"due {_day_words(median, today)}"
    months = ("", "") if low.month == median.month == high.month else (f" {low:%b}", f" {high:%b}")
    return f"due {_day_words(median, today)} ({low.day}{months[0]}–{high.day}{months[1]})"


def odds_words(outlook: Outlook, now: datetime, zone: str) -> str:
    """The forecast in a sentence, with its odds."""
    if outlook.basis == "rest":
        return _rest_odds(outlook, now, zone)
    if outlook.low is None or outlook.median is None or outlook.too_cold:
        return f"{due_words(outlook, now, zone).capitalize()}."
    low, likeliest, today = (local_day(at, zone) for at in (outlook.low, outlook.median, now))
    high = local_day(outlook.high, zone) if outlook.high else None
    if is_likely_out(outlook):
        return f"Probably out since about {_day_words(likeliest, today)} ({in_percent(outlook.already)}): check."
    if outlook.overdue:
        return "Overdue: nearly all have emerged by now. Check it."
    range_words = f"from {_day_words(low, today)} to {_day_words(high, today) if high else 'later'}"
    told = f"Due {_day_words(likeliest, today)}; four in five {'that day' if low == high else range_words}."
    morning = outlook.morning
    if morning is not None and morning.p >= 0.01:
        until = shown_time(morning.end, zone, now)
        told += f" Out by {until}: {in_percent(morning.p)}."
    return told


def _rest_odds(outlook: Outlook, now: datetime, zone: str) -> str:
    """Both possibilities of a pupa that may overwinter, with their odds."""
    spring = "until spring"
    if outlook.median is not None and outlook.low is not None:
        spring = f"until spring, and is then due {_range_words(outlook.low, outlook.median, outlook.high, now, zone)}"
    told = f"Rests {spring} ({_percent(outlook.rests)})"
    if outlook.otherwise is not None:
        low, median, high = outlook.otherwise
        told += f"; if not, due {_range_words(low, median, high, now, zone)} ({_percent(1 - outlook.rests)})"
    return f"{told}."


def _range_words(low: datetime, median: datetime, high: datetime | None, now: datetime, zone: str) -> str:
    first, middle, today = (local_day(at, zone) for at in (low, median, now))
    last = _day_words(local_day(high, zone), today) if high else "later"
    return f"{_day_words(middle, today)} (4 in 5: {_day_words(first, today)} to {last})"


def _percent(share: float) -> str:
    return "over 99 %" if share > 0.99 else in_percent(share)


def is_likely_out(outlook: Outlook | None) -> bool:
    """Whether it has more likely than not come out since it was last looked at."""
    return outlook is not None and outlook.already > _LIKELY


def is_late(outlook: Outlook | None) -> bool:
    """Whether its time has come, so that it should be looked at."""
    return outlook is not None and (outlook.overdue or is_likely_out(outlook))


def outlook_notes(outlook: Outlook, unit: Unit = "C") -> list[str]:
    """What the keeper should know about how the outlook was reached, a sentence each."""
    grounds = outlook.grounds
    if isinstance(grounds, Rest):
        return _rest_notes(grounds, outlook)
    if outlook.too_cold:
        return [*_grounds_told(grounds, outlook.basis, unit), TOO_COLD]
    return list(_grounds_told(grounds, outlook.basis, unit))


TOO_COLD = (
    "too cold to finish here; once it may be moved, bring it, or its whole "
    "cage, into a room of 20 to 25 °C, out of the sun"
)
"""Common practice."""


def _rest_notes(grounds: Rest, outlook: Outlook) -> list[str]:
    told = "latitude and longitude are not set, so whether it may rest until spring is unknown"
    if grounds.light_hours is not None:
        told = (
            f"it pupated on a day of {grounds.light_hours:.1f} h of light; at {grounds.limit_hours:g} h half of its "
            "kind may rest until spring"
        )
    if grounds.in_spring:
        return [
            told,
            "its warmth is counted from the coldest part of winter; check it daily once the days are warm",
            "a late pupa is not necessarily dead: some emerge weeks after the others",
        ]
    cool = "keep it cool, out of the sun and lightly misted; check it once a month; it should emerge in spring"
    if outlook.otherwise is not None:
        cool = f"look at it daily until its first date has passed; then {cool}"
    return [told, cool]


def warmth_words(warmth: Warmth, unit: Unit = "C") -> str:
    """How far warmth has brought it, in a few words."""
    scale = 1.8 if unit == "F" else 1.0
    so_far, need = warmth.so_far_cd * scale, warmth.need_cd * scale
    base = shown_degrees(warmth.base_c, unit)
    return f"heat so far {so_far:.0f} of about {need:.0f} degree-days above {base} ({_percent(warmth.share)})"


def explained(outlook: Outlook, widths: Widths, unit: Unit = "C") -> list[str]:
    """How the date comes about, and where its uncertainty comes from, a sentence each."""
    grounds = outlook.grounds
    told = []
    if isinstance(grounds, Grounds) and grounds.warmth is not None:
        told.append(f"four in five such pupae need {_need_words(grounds.warmth, unit)}")
    told = [*outlook_notes(outlook, unit), *told]
    if widths.now is not None:
        parts = [
            ("if all temperatures were known", widths.weather),
            ("if its pupation time were known", widths.pupation),
        ]
        less = [f"{_days_words(days)} {what}" for what, days in parts if days is not None]
        within = _days_words(widths.now)
        if all(one.startswith(f"{within} ") for one in less):
            told.append(f"four in five within {within}, nearly all of it from how much pupae differ")
        else:
            told.append(f"four in five within {within}; {', '.join(less)}; the rest is how much pupae differ")
    return told


def _need_words(warmth: Warmth, unit: Unit) -> str:
    scale = 1.8 if unit == "F" else 1.0
    low, high = (warmth.need_cd * scale * factor for factor in (exp(-1.28 * warmth.spread), exp(1.28 * warmth.spread)))
    return f"{low:.0f} to {high:.0f} degree-days"


def _days_words(days: float) -> str:
    return f"{days:.1f} d"


def _grounds_told(grounds: Grounds, basis: Basis, unit: Unit) -> Iterator[str]:
    if grounds.warmth is not None and grounds.warmth.share < _TOLD_SHARE:
        yield warmth_words(grounds.warmth, unit)
    if basis == "calendar":
        yield "by the calendar only, as if at room temperature: no temperature known for one of its places"
    if grounds.filled_hours:
        yield f"{grounds.filled_hours} h of its past had no readings; they were estimated from the days around"
    if grounds.dated is not None:
        since, until = grounds.dated
        yield f"from its colour it pupated about {since.day} {since:%b} to {until.day} {until:%b}"
    elif not grounds.since_known:
        yield "its pupation time is not known, so the date is wide"
    if not grounds.sky_known:
        yield "latitude and longitude are not set, so dawn is assumed at 06:30"
        if grounds.overwinters:
            yield "so whether it may rest until spring is unknown"
    if grounds.learned:
        pupae = "one" if grounds.learned == 1 else f"{grounds.learned}"
        yield f"corrected by {pupae} of your own pupae"
    else:
        yield "not yet corrected by your own pupae"


SIGNS = (
    "lateness alone does not mean it is dead: cool weeks slow everything",
    "good: firm, evenly coloured, twitches at a gentle touch, or darkens left and right alike",
    "bad: brown from the cap or saddle, soft or foul-smelling, black for days without a wing pattern",
    "bad: stains, holes, hanging threads or small brown fly pupae below it",
    "good or bad, leave it hanging and look again each morning; if in doubt, move the healthy ones away from it",
)
"""What to check on an overdue pupa. Source: guidance of volunteer monitoring projects and breeders; common practice."""


_DOUBT = 0.8
"""Below this chance that it lives, that is said."""


def alive_words(alive: float) -> str:
    """That it may be dead, and how likely that is; "" while it most likely lives."""
    told = f"{in_percent(1 - alive)}, from how late it is and how often late pupae died"
    return f"it may be dead ({told}): check the signs" if alive < _DOUBT else ""


def signs_to_check(outlook: Outlook) -> list[str]:
    """What to check on it, a sentence each; nothing while there is time left."""
    if not outlook.overdue or isinstance(outlook.grounds, Rest):
        return []
    rest = ["it may also be resting until spring, as this species can"] if outlook.grounds.overwinters else []
    return [*SIGNS, *rest]


def expected_days(standings: "list[Standing]", now: datetime, zone: str, days: int = 14) -> "list[Expected]":
    """How many adults each of the coming days may bring, today first."""
    from pupawatch.care.forecast.ahead import expected_by_day

    told = [(one.outlook, one.alive) for one in standings if one.outlook]
    return expected_by_day([outlook for outlook, _ in told], [alive for _, alive in told], local_day(now, zone), days)


def day_lines(standings: "list[Standing]", now: datetime, zone: str) -> list[str]:
    """The days ahead on which an adult may come out, a line each; a day that likely brings one is marked."""
    told = []
    for day in expected_days(standings, now, zone):
        if day.mean >= 0.05:
            home = "  someone should be home" if day.low >= 1 else ""
            told.append(
                f"{day.day:%a} {day.day.day:>2} {day.day:%b}  {day.mean:4.1f} expected, {day.low} to {day.high}{home}"
            )
    return ["Emergences expected (four in five):", *told] if told else []


def watch_lines(standings: "list[Standing]", now: datetime, zone: str) -> list[str]:
    """Which pupae may emerge this morning, the likeliest first, and until when to be there."""
    mornings = [(s, s.outlook, s.outlook.morning) for s in standings if s.outlook and s.outlook.morning]
    chances = [(one.alive * (morning.p - outlook.already), one.pupa.label) for one, outlook, morning in mornings]
    likely = sorted(((p, label) for p, label in chances if p >= 0.2), reverse=True)
    if not likely:
        return []
    window = mornings[0][2]
    told = ", ".join(f"{label} {in_percent(p)}" for p, label in likely)
    start, end = (shown_time(at, zone, now) for at in (window.start, window.end))
    return [f"Watch from {start} to {end}; the chance to emerge in these hours: {told}."]


def temperature_warning(one: Warned, unit: Unit = "C") -> str:
    """How hot or cold a place was or will be, and what to do."""
    celsius, limit = shown_degrees(one.celsius, unit), shown_degrees(one.limit_c, unit)
    reached = "reached" if one.has_been else "is expected to reach"
    if one.kind == "sun":
        return f"{reached} {celsius}: does the sensor stand in the sun? Hang it in the shade, beside the pupae"
    if one.kind == "cold":
        bring = "these pupae do not overwinter: bring the whole cage in, without touching them"
        return f"{reached} {celsius}, and frost kills; {bring}"
    if one.how == "mean":
        has = "has had" if one.has_been else "is expected to have"
        told = f"{has} a daily mean of {celsius}; from {limit} warmth can spoil wings"
    else:
        told = f"{reached} {celsius}, {one.hours:.0f} h of the day above {limit}: such warmth can spoil wings"
    return f"{told}. Shade it, let air through, or carry the whole cage to a cooler room without touching the pupae"


def heat_lines(heat: Mapping[str, str]) -> list[str]:
    """What is to be told of heat, by place: a sentence for all places of which the same is so."""
    places: dict[str, list[str]] = {}
    for place, warning in heat.items():
        places.setdefault(warning, []).append(place)
    return [f"{', '.join(names)}: {warning}." for warning, names in places.items()]


def silence_words(loggers: Mapping[str, Loggers], now: datetime, zone: str) -> str:
    """The silent loggers in a few words, as the headline has them; "" where all speak."""
    silent = dict(one.silent for one in loggers.values() if one.silent)
    if len(silent) > 1:
        return f"no readings from {len(silent)} loggers"
    return "".join(f"no readings from {name} since {_since(at, zone, now)}" for name, at in silent.items())


def logger_lines(loggers: Mapping[str, Loggers], now: datetime, zone: str, unit: Unit = "C") -> list[str]:
    """What is to be told of the loggers, by place: a sentence for all places of which the same is so."""
    places: dict[str, list[str]] = {}
    for place, one in loggers.items():
        for told in _logger_told(one, now, zone, unit):
            places.setdefault(told, []).append(place)
    return [f"{', '.join(names)}: {told}." for told, names in places.items()]


def _logger_told(one: Loggers, now: datetime, zone: str, unit: Unit) -> Iterator[str]:
    if one.silent:
        name, at = one.silent
        yield (
            f"no readings from {name} since {_since(at, zone, now)}; the warmth since then is estimated. Import its "
            "file, or record each day's lowest and highest"
        )
    for name, stuck in one.stuck:
        value, since = shown_degrees(stuck.celsius, unit), _since(stuck.since, zone, now)
        still = f"{name} has read {value} without change since {since}"
        yield (
            f"{still}; these readings are left out. Look at the sensor" if stuck.is_fault else f"{still}; is it stuck?"
        )
    if one.apart_c is not None:
        apart = one.apart_c * 1.8 if unit == "F" else one.apart_c
        yield (
            f"its loggers {', '.join(one.averaged)} are {apart:.1f} °{unit} apart; their mean is used. Hang them side "
            "by side to see which is wrong, or choose one in places.toml"
        )


def _since(at_seconds: float, zone: str, now: datetime) -> str:
    day, today = local_day(instant(at_seconds), zone), local_day(now, zone)
    return f"{day:%a}" if (today - day).days < 7 else f"{day.day} {day:%b}"


def score_lines(species: str, score: "Score") -> list[str]:
    """How good the forecasts of one species were, beside the rule of a fixed number of days."""
    told = [
        f"{species}: {score.n} forecasts of past mornings, re-run using only what was known then.",
        f"  inside the 80 % interval: {in_percent(score.coverage)}",
        f"  median error: {score.median_error_days:.1f} days; by a fixed number of days "
        f"{score.fixed_median_error_days:.1f}",
        f"  CRPS (error of the whole forecast, less is better): {score.crps_days:.2f} days; counting a fixed number of "
        f"days {score.fixed_crps_days:.2f}",
    ]
    if score.left_out:
        pupae = counted(score.left_out, "pupa", "pupae")
        told.append(f"  left out: {pupae} whose emergence is not known to two days")
    return told


def _day_words(day: date, today: date) -> str:
    """A day by its weekday while that is no riddle, else by its month."""
    if 0 <= (day - today).days <= 1:
        return "tomorrow" if day > today else "today"
    return f"{day:%a} {day.day}" if abs((day - today).days) <= _NEAR_DAYS else f"{day.day} {day:%b}"
