"""The command about the days ahead: when pupae emerge, and how good past forecasts were."""

import argparse
from datetime import datetime

from pupawatch.care import round as rounds
from pupawatch.cli.parser import Commands
from pupawatch.cli.printing import Record, Say, bar
from pupawatch.errors import NotUnderstood
from pupawatch.keeper import Keeper
from pupawatch.model.times import iso
from pupawatch.words import forecast as forecast_words


def register(commands: Commands) -> None:
    """This command, with its options."""
    forecast = commands.telling("forecast", "when the pupae will emerge, and how sure that is", _asked)
    forecast.add_argument("labels", nargs="*", metavar="LABEL")
    forecast.add_argument("--explain", action="store_true", help="explain the date of each LABEL")
    forecast.add_argument("--score", action="store_true", help="how good past forecasts were, replayed")


def _asked(keeper: Keeper, options: argparse.Namespace, moment: datetime | None, say: Say) -> Record:
    if options.score:
        return _score(keeper, options.labels, moment, say)
    if options.explain and not options.labels:
        raise NotUnderstood("--explain needs the LABEL of a pupa.")
    return _forecast(keeper, options.labels, moment, say, options.explain)


def _forecast(keeper: Keeper, labels: list[str], moment: datetime | None, say: Say, explain: bool = False) -> Record:
    """Tell when these pupae (or all) will emerge, and give the record for other programs."""
    from pupawatch.exchange import records
    from pupawatch.keeper.advice import Advice

    zone, advice = keeper.settings.zone, Advice(keeper, keeper.moves)
    morning = advice.morning(moment)
    now = morning.now
    if advice.problem:
        say(f"! {advice.problem}")
    known = {standing.pupa.id: standing for standing in morning.standings}
    asked = [keeper.pupa(label, moment) for label in labels] or [one.pupa for one in known.values()]
    labelled = rounds.labels_of(keeper.state_at(moment))
    standings = [known.get(pupa.id) or rounds.standing(pupa, morning.picture, labelled) for pupa in asked]
    standings = [one for one in standings if labels or one.outlook or one.is_sick]
    standings.sort(key=lambda one: (one.outlook.low or one.outlook.horizon or now) if one.outlook else now)
    for standing in standings:
        odds = forecast_words.odds_words(standing.outlook, now, zone) if standing.outlook else ""
        told = odds or ("not forecast: it shows signs of disease." if standing.is_sick else _unforecast(standing))
        say(f"{standing.pupa.label:<8} {standing.stage:<10} {told}")
        if told is odds and (doubt := forecast_words.alive_words(standing.alive)):
            say(f"         {doubt}")
        if labels and (one := standing.outlook):
            widths = advice.outlooks.widths(keeper.state_at(moment), standing.pupa, now) if explain else None
            unit = keeper.settings.unit
            notes = forecast_words.explained(one, widths, unit) if widths else forecast_words.outlook_notes(one, unit)
            for note in notes + forecast_words.signs_to_check(one):
                say(f"         {note}")
    for line in forecast_words.day_lines(standings, now, zone):
        say(line)
    days = [records.day_record(day) for day in forecast_words.expected_days(standings, now, zone)]
    return {**records.pupae_record(now, standings), "by_day": days}


def _score(keeper: Keeper, labels: list[str], moment: datetime | None, say: Say) -> Record:
    """Tell how good past forecasts were, replayed, and give the record for other programs."""
    from pupawatch.exchange.records import score_record
    from pupawatch.keeper.outlook import scores

    if labels:
        raise NotUnderstood("--score covers all past forecasts together; it takes no label.")
    now = moment or keeper.clock()
    with bar() as watch:
        scored = scores(keeper, now, watch)
    for name, one in scored:
        for line in forecast_words.score_lines(name, one):
            say(line)
    if not scored:
        say("Nothing to score yet: no pupa with a known pupation time has emerged.")
    return {"as_of": iso(now), "species": [score_record(name, one) for name, one in scored]}


def _unforecast(standing: rounds.Standing) -> str:
    return "no forecast until it has pupated." if standing.pupa.is_prepupa else "no forecast."
