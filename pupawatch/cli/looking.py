"""The commands that look: this morning's work, the pupae, all of one pupa, the places."""

import argparse
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from pupawatch.care import round as rounds
from pupawatch.care.adults import on_the_floor
from pupawatch.care.picture import Known, Picture
from pupawatch.care.proposals import frees_words
from pupawatch.cli.parser import Commands, as_of
from pupawatch.cli.printing import print_json, say, warn
from pupawatch.errors import NotUnderstood
from pupawatch.keeper import Keeper
from pupawatch.keeper.conditions import lately_told
from pupawatch.model.entries import Entry
from pupawatch.model.state import by_label
from pupawatch.model.text import typed
from pupawatch.model.times import iso, shown_time
from pupawatch.words import forecast as forecast_words
from pupawatch.words import pupae as words
from pupawatch.words.entries import entry_time, entry_words
from pupawatch.words.flags import flag_lines
from pupawatch.words.hours import hang_words
from pupawatch.words.places import room_words
from pupawatch.words.round import brief, headline, to_visit_words

_NOBODY: Mapping[str, str] = {}


def register(commands: Commands) -> None:
    """These commands, with their options."""
    today = commands.reading("today", "what to do this morning, in order, with reasons", _today)
    told = (
        "one line where something needs you, and nothing at all where nothing does; for a timer or a shell's greeting"
    )
    today.add_argument("--brief", action="store_true", help=told)

    pupae = commands.reading("pupae", "list the pupae in your care", _pupae)
    pupae.add_argument("--all", action="store_true", help="also those emerged, lost or released")

    history = commands.reading("history", "everything recorded about a pupa, a place or a brood", _history)
    history.add_argument("label", metavar="LABEL", help="a pupa, or the name of a place or brood")

    commands.reading("places", "list the places in the order of the round", _places)


def _today(keeper: Keeper, options: argparse.Namespace) -> int:
    from pupawatch.keeper.advice import Advice

    advice = Advice(keeper, keeper.moves)
    morning = advice.morning(as_of(keeper, options))
    now, heat = morning.now, morning.picture.known.heat
    if options.brief:
        fallen = on_the_floor(keeper.state_at(as_of(keeper, options)), now, keeper.settings)
        if told_briefly := brief(morning, fallen):
            say(f"pupawatch: {told_briefly}.")
        return 0
    warn(advice.problem)
    standings = sorted(morning.standings, key=lambda standing: standing.urgency)
    if options.json:
        return _print_pupae(now, standings)
    zone = keeper.settings.zone
    say(f"{shown_time(now, zone)}: {headline(morning)}; {to_visit_words(morning)}.")
    for warning in forecast_words.heat_lines(heat):
        say(f"! {warning}")
    for line in forecast_words.logger_lines(morning.picture.known.loggers, now, zone, keeper.settings.unit):
        say(f"! {line}")
    for line in forecast_words.watch_lines(standings, now, zone):
        say(line)
    told = [standing for standing in standings if not _is_left_in_peace(standing)]
    for standing in told:
        say(_line(keeper, standing, now))
        if standing.decision and not standing.decision.is_left:
            say(f"     {standing.decision.why}")
        for way in standing.protection:
            say(f"     {way.words}: {way.steps[0]}")
        for line in flag_lines(standing, keeper.settings):
            say(f"     ! {line}")
    fit = [one.picture for one in morning.stretches if keeper.settings.climbable(one.place)]
    for line in frees_words(fit):
        say(f"{line}.")
    if quiet := len(standings) - len(told):
        say(f"{quiet} more hang safely: leave them alone.")
    return 0


def _is_left_in_peace(standing: rounds.Standing) -> bool:
    later = standing.decision is not None and standing.decision.later is not None
    calm = not (standing.needs_something or standing.flags or later or forecast_words.is_late(standing.outlook))
    return calm and standing.verdict.kind != "wait"


def _pupae(keeper: Keeper, options: argparse.Namespace) -> int:
    from pupawatch.keeper.advice import Advice

    moment = as_of(keeper, options)
    advice = Advice(keeper, keeper.moves)
    morning = advice.morning(moment)
    now = morning.now
    warn(advice.problem)
    standings = sorted(morning.standings, key=lambda one: (by_label(one.pupa), one.pupa.id))
    if options.all:
        state, told = keeper.whole_state(moment), {one.pupa.id: one for one in standings}
        labels = rounds.labels_of(state)
        every = sorted(state.pupae.values(), key=lambda pupa: pupa.entries[0].happened)
        standings = [told.get(pupa.id) or rounds.standing(pupa, morning.picture, labels) for pupa in every]
    if options.json:
        return _print_pupae(now, standings)
    for standing in standings:
        say(_line(keeper, standing, now))
    if not standings:
        say("No pupae yet. The first one: pupawatch found P1 --place NAME")
    return 0


def _history(keeper: Keeper, options: argparse.Namespace) -> int:
    moment = as_of(keeper, options)
    try:
        pupa = keeper.pupa(options.label, moment)
    except NotUnderstood:
        if keeper.settings.knows_place(where := keeper.settings.place_like(options.label).name):
            return _history_of_place(keeper, where, moment, options.json)
        if told := keeper.broods.entries(options.label, moment):
            return _history_of_brood(keeper, told, moment, options)
        raise
    now = moment or keeper.clock()
    if options.json:
        return _print_entries(now, {"label": pupa.label, "flags": pupa.flags}, pupa.entries)
    state = keeper.state_at(moment)
    picture = Picture.of(state, now, keeper.settings, Known(records=keeper.moves.place_records(moment)))
    standing = rounds.standing(pupa, picture, rounds.labels_of(state))
    name = keeper.settings.profile(pupa.species).name
    say(f"{pupa.label}, {name}: {words.formed_words(standing, now, keeper.settings.zone)}.")
    say(f"{words.advice_of(standing, keeper.settings).word}: {standing.verdict.why}.")
    _say_entries(keeper, pupa.entries, now)
    for line in flag_lines(standing, keeper.settings):
        say(f"  ! {line}")
    return 0


def _history_of_place(keeper: Keeper, name: str, moment: datetime | None, as_json: bool) -> int:
    now, entries = moment or keeper.clock(), keeper.places.entries(name, moment)
    if as_json:
        return _print_entries(now, {"place": name}, entries)
    say(f"{name}, {keeper.settings.place(name).surface}:")
    _say_entries(keeper, entries, now)
    if not entries:
        say("  nothing recorded yet")
    return 0


def _history_of_brood(keeper: Keeper, told: list[Entry], moment: datetime | None, options: argparse.Namespace) -> int:
    now, name = moment or keeper.clock(), keeper.broods.named(options.label)
    if options.json:
        return _print_entries(now, {"brood": name}, told)
    say(f"Brood {name}:")
    _say_entries(keeper, told, now, {pupa.id: f"{pupa.label} " for pupa in keeper.state_at(moment).pupae.values()})
    return 0


def _say_entries(keeper: Keeper, entries: Iterable[Entry], now: datetime, whose: Mapping[str, str] = _NOBODY) -> None:
    """whose: what stands before an entry, by the pupa it is about; where all are about one it need not be said."""
    for entry in entries:
        source = "  (from a notebook)" if entry.history else ""
        when = entry_time(entry, keeper.settings.zone, now)
        say(f"  {when:<42} {whose.get(entry.about, '')}{entry_words(entry, keeper.settings.unit)}{source}")


def _print_entries(now: datetime, of: dict[str, Any], entries: Iterable[Entry]) -> int:
    from pupawatch.exchange.records import entry_record

    return print_json({"as_of": iso(now), **of, "entries": [entry_record(entry) for entry in entries]})


def _places(keeper: Keeper, options: argparse.Namespace) -> int:
    moment = as_of(keeper, options)
    now = moment or keeper.clock()
    known = Known(records=keeper.moves.place_records(moment), loggers=lately_told(keeper, now))
    morning = rounds.walk(keeper.state_at(moment), now, keeper.settings, known)
    if options.json:
        from pupawatch.exchange.records import places_record

        climbable = {s.place.name: keeper.settings.climbable(s.place) for s in morning.stretches}
        return print_json(places_record(morning, climbable))
    rooms = [room_words(stretch.picture) for stretch in morning.stretches]
    wide = max(map(len, rooms), default=0)
    for stretch, room in zip(morning.stretches, rooms, strict=True):
        place = stretch.place
        climb = "climbable" if keeper.settings.climbable(place) else "cannot be climbed"
        looked = shown_time(stretch.looked, keeper.settings.zone, morning.now) if stretch.looked else "never"
        living = sum(1 for standing in stretch.standings if standing.pupa.is_living)
        say(f"{place.name:<24} {place.surface:<9} {climb:<18} {living:>3} living, {room:<{wide}}  visited {looked}")
        told = {place.name: known.loggers[place.name]} if living and place.name in known.loggers else {}
        for line in forecast_words.logger_lines(told, now, keeper.settings.zone, keeper.settings.unit):
            say(f"     ! {line.removeprefix(f'{place.name}: ')}")
    if not morning.stretches:
        say(f"No places yet. The first one: pupawatch place {typed('Cage roof')} --surface mesh --capacity 12")
    return 0


def _print_pupae(now: datetime, standings: list[rounds.Standing]) -> int:
    from pupawatch.exchange.records import pupae_record

    return print_json(pupae_record(now, standings))


def _line(keeper: Keeper, standing: rounds.Standing, now: datetime) -> str:
    advice = words.advice_of(standing, keeper.settings)
    pupa = standing.pupa
    name = f"{advice.sign} {advice.word:<7}{pupa.label:<8} {pupa.place:<22} {hang_words(standing.hang):>10}"
    return f"{name}  {standing.stage:<10}{words.to_do(standing, now, keeper.settings.zone)}"
