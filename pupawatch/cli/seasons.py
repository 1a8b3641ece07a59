"""The commands about the days ahead and the seasons behind: the forecast, its score, and the review."""

import argparse
import shutil
from collections.abc import Callable
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from pupawatch.care import round as rounds
from pupawatch.errors import NotUnderstood
from pupawatch.exchange import records
from pupawatch.keeper import Keeper, outlook
from pupawatch.keeper.drafts import Done
from pupawatch.model.degrees import typed_degrees
from pupawatch.model.times import iso, parse_span
from pupawatch.words import forecast as forecast_words

Say = Callable[[str], None]
_NARROWEST, _WIDEST = 60, 120


def forecast(keeper: Keeper, labels: list[str], moment: datetime | None, say: Say) -> dict[str, Any]:
    """Tell when these pupae (or all) will emerge, and give the record for other programs."""
    now, zone = moment or keeper.clock(), keeper.settings.zone
    state = keeper.state_at(moment) if moment else keeper.state
    known = outlook.Outlooks(keeper)
    outlooks = known.of(state, now)
    if known.problem:
        say(f"! {known.problem}")
    asked = [keeper.pupa(label, moment) for label in labels] or state.open_pupae()
    scene = rounds.Scene.of(state, now, keeper.settings, outlooks, keeper.moves.place_records(moment))
    standings = [rounds.standing(pupa, scene) for pupa in asked if labels or pupa.id in outlooks]
    standings.sort(key=lambda one: (one.outlook.low or one.outlook.horizon or now) if one.outlook else now)
    for standing in standings:
        odds = forecast_words.odds_words(standing.outlook, now, zone) if standing.outlook else ""
        told = odds or "nothing is forecast for it."
        say(f"{standing.pupa.label:<8} {standing.stage:<10} {told}")
        if labels and standing.outlook:
            for note in (*standing.outlook.notes, *standing.outlook.signs):
                say(f"         {note}")
    for line in forecast_words.day_lines(standings, now, zone):
        say(line)
    days = [records.day_record(day) for day in forecast_words.expected_days(standings, now, zone)]
    return {**records.pupae_record(now, standings), "by_day": days}


def score(keeper: Keeper, labels: list[str], moment: datetime | None, say: Say) -> dict[str, Any]:
    """Tell how good past forecasts were, lived through again, and give the record for other programs."""
    if labels:
        raise NotUnderstood("--score tells of all past forecasts together; name no pupa beside it.")
    now = moment or keeper.clock()
    scored = outlook.scores(keeper, now)
    for name, one in scored:
        for line in forecast_words.score_lines(name, one):
            say(line)
    if not scored:
        say("Nothing to score yet: no pupa has emerged whose formation was known.")
    return {"as_of": iso(now), "species": [records.score_record(name, one) for name, one in scored]}


def review(keeper: Keeper, options: argparse.Namespace, moment: datetime | None, say: Say) -> dict[str, Any]:
    """Tell what the season taught, write it as a report, or (with --json) give only the counts and rates."""
    from pupawatch.review import page, text

    pupae = list(keeper.whole_state(moment).pupae.values())
    only = dict(_filter(one) for one in options.only)
    if options.json:
        return page.review_json(pupae, keeper.settings, options.by, only)
    told = page.page(pupae, keeper.settings, moment or keeper.clock(), options.by, only)
    if options.report:
        from pupawatch.exchange import report

        report.write(told, options.report)
        say(f"The report is in {options.report}; it opens in any browser, without a network.")
        return {}
    for line in text.lines(told, min(_WIDEST, max(_NARROWEST, shutil.get_terminal_size().columns))):
        say(line)
    return {}


def measured(keeper: Keeper, options: argparse.Namespace) -> Done:
    """Write down a day's lowest and highest temperature."""
    now, zone = keeper.clock(), keeper.settings.zone
    day = parse_span(options.day, zone, now).since if options.day else now
    low_c, high_c = (typed_degrees(one, keeper.settings.unit) for one in (options.low, options.high))
    return keeper.temperatures.measured(options.place, low_c, high_c, _local_day(day or now, zone))


def _filter(typed: str) -> tuple[str, str]:
    factor, equals, group = typed.partition("=")
    if not equals:
        raise NotUnderstood(f"--only {typed!r} names no group; write it like --only species=monarch")
    return factor.strip(), group.strip()


def _local_day(moment: datetime, zone: str) -> date:
    return moment.astimezone(ZoneInfo(zone)).date()
