"""The commands about what came out: the watch, the living butterflies, marking and release."""

import argparse
from datetime import datetime

from pupawatch.care import adults
from pupawatch.care.adults import Butterfly, Watch, Weather
from pupawatch.cli.health import finding_record
from pupawatch.cli.parser import Commands, labels, weather
from pupawatch.cli.printing import Record, Say
from pupawatch.keeper import Keeper
from pupawatch.model.settings import Settings
from pupawatch.model.times import Span, iso
from pupawatch.words.adults import adult_line, advice_words, unreleased_words


def register(commands: Commands) -> None:
    """These commands, with their options."""
    commands.telling("watch", "this morning's new butterflies with their times, and the pupae due next", _watch)

    told = "the living butterflies: hours, sex, wings, mark, and whether to release them"
    living = commands.telling("adults", told, _living, weather())
    living.add_argument("--all", action="store_true", help="also old ones never recorded as released or dead")

    _seen(commands)
    _handled(commands)


def _seen(commands: Commands) -> None:
    adult = commands.recording(
        "adult",
        "record what happened to a butterfly: it fell, climbed back, was helped up …",
        lambda k, o, when: k.adults.seen(o.label, o.what, when),
    )
    labels(adult)
    adult.add_argument(
        "what",
        metavar="WHAT",
        help="fell, climbed (back), helped (up), full (its wings), gone (from where it dried), died",
    )

    sex = commands.recording(
        "sex", "record the sex of a butterfly", lambda k, o, when: k.adults.sexed(o.label, o.sex, when)
    )
    labels(sex)
    sex.add_argument("sex", metavar="SEX", help="female or male; `adults` shows how to tell them")

    origin = commands.recording(
        "origin",
        "record where a pupa or butterfly came from",
        lambda k, o, when: k.adults.came_from(o.label, o.origin, when),
    )
    labels(origin)
    origin.add_argument("origin", metavar="ORIGIN", help="reared, wild-egg, wild-larva or wild-pupa")


def _handled(commands: Commands) -> None:
    mark = commands.recording(
        "mark",
        "mark a butterfly; your marking programme and local rules come first",
        lambda k, o, when: k.adults.mark(o.label, o.code, o.sex, o.origin, when),
    )
    mark.add_argument("label", metavar="LABEL")
    mark.add_argument("code", nargs="?", metavar="CODE", default="", help="default: the next of this season's series")
    mark.add_argument("--sex", metavar="SEX", default="", help="female or male")
    mark.add_argument("--origin", metavar="ORIGIN", default="", help="reared, wild-egg, wild-larva or wild-pupa")

    release = commands.recording(
        "release",
        "record a release, or where a flightless butterfly is kept",
        lambda k, o, when: k.adults.release(o.label, o.place, o.kept, _weather(o), when, o.despite),
        weather(),
    )
    labels(release)
    release.add_argument("--place", metavar="P", default="", help="where it was released")
    release.add_argument(
        "--despite", metavar="WHY", default="", help="why it is released although it carries many spores; recorded"
    )
    release.add_argument("--kept", metavar="P", default="", help="it cannot fly: where it is kept")


def _weather(options: argparse.Namespace) -> Weather:
    return Weather(options.temperature_c, options.sky)


def _watch(keeper: Keeper, _: argparse.Namespace, moment: datetime | None, say: Say) -> Record:
    """Tell the watch, and give its record for other programs."""
    now, settings = moment or keeper.clock(), keeper.settings
    seen = adults.watch(keeper.state_at(moment), now, settings)
    for butterfly in seen.fresh:
        say(adult_line(butterfly, now))
        if butterfly.alarm:
            for step in (*settings.care.floor.steps, *settings.care.floor.cautions):
                say(f"     {step}")
    for coming in seen.coming:
        what = "bring a climbing aid" if coming.stage == "clear" else "move it today"
        climb = "" if coming.can_climb else f"; the butterfly cannot climb there: {what}"
        say(f"{coming.stage.upper():<10} {coming.pupa.label:<8} in {coming.pupa.place}{climb}")
    if not seen.fresh and not seen.coming:
        say("None seen emerging this morning.")
    return _watch_record(seen, settings)


def _living(keeper: Keeper, options: argparse.Namespace, moment: datetime | None, say: Say) -> Record:
    """Tell the living adults with the advice on letting each fly, and give the record for other programs.

    --all: also those that emerged long ago and of which nobody recorded an end; else only how many they are.
    """
    now, settings = moment or keeper.clock(), keeper.settings
    here = adults.living(keeper.state_at(moment), now, settings)
    older = keeper.adults.unreleased(moment)
    here += [adults.butterfly(pupa, now, settings) for pupa in older if options.all]
    records, weather_now = [], _weather(options)._replace(newest=keeper.adults.newest_c(moment) if here else None)
    for butterfly in here:
        advice = adults.release_advice(butterfly.pupa, now, weather_now, settings)
        say(adult_line(butterfly, now))
        if butterfly.phase == "ready" and butterfly.pupa not in older:
            say(f"     {advice_words(advice, settings.zone, now)}")
        when = iso(advice.when) if advice.when else None
        release = {
            "now": advice.now,
            "against": advice.against,
            "when": when,
            "notes": advice.notes,
            "asks": advice.asks or None,
        }
        records.append({**_butterfly_record(butterfly, now, settings), "release": release})
    marks = [mark for mark in keeper.adults.marks_of_season(now) if mark.happened <= now]
    next_mark = adults.next_code(marks, settings)
    if next_mark:
        say(f"Next mark: {next_mark}")
    if older and not options.all:
        say(f"{unreleased_words(len(older))}; `pupawatch adults --all` lists them.")
    say(settings.care.release.cautions[0] if here else "No butterflies in your care.")
    return {"as_of": iso(now), "adults": records, "next_mark": next_mark or None, "unreleased": len(older)}


def _watch_record(seen: Watch, settings: Settings) -> Record:
    """The record of ``watch --json``."""
    return {
        "as_of": iso(seen.now),
        "fresh": [_butterfly_record(butterfly, seen.now, settings) for butterfly in seen.fresh],
        "coming": [
            {"label": c.pupa.label, "stage": c.stage, "place": c.pupa.place, "can_climb": c.can_climb}
            for c in seen.coming
        ],
    }


def _butterfly_record(butterfly: Butterfly, now: datetime, settings: Settings) -> Record:
    """One adult: when it came out, its clocks, what it waits for."""
    pupa, clocks = butterfly.pupa, butterfly.clocks
    assert pupa.emerged is not None
    at_least, at_most = adults.age_hours(pupa, now)
    return {
        "label": pupa.label,
        "species": pupa.species,
        "place": pupa.place,
        "emerged": {"from": iso(pupa.emerged.earliest), "by": iso(pupa.emerged.happened)},
        "hours": {"at_least": round(at_least, 2), "at_most": round(at_most, 2)},
        "phase": butterfly.phase,
        "alarm": butterfly.alarm,
        "do": butterfly.do,
        "hang_by": iso(clocks.hang_by),
        "wings_full": _span_record(clocks.wings_full),
        "hard": _span_record(clocks.hard),
        "judge_from": iso(clocks.judge_from),
        "handle_from": iso(clocks.handle_from),
        "mark_from": iso(clocks.mark_from),
        "release_from": iso(clocks.release_from),
        "sex": pupa.sex or None,
        "wings": pupa.wings.condition if pupa.wings else None,
        "mark": pupa.marked.code if pupa.marked else None,
        "origin": pupa.origin or None,
        "kept": pupa.kept.place if pupa.kept else None,
        "fell_and_recovered": adults.recovered(pupa, settings),
        "findings": [finding_record(finding, settings.health) for finding in pupa.findings],
    }


def _span_record(span: Span) -> dict[str, str | None]:
    return {"from": iso(span.since) if span.since else None, "by": iso(span.until)}
