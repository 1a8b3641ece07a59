"""The commands of the round: what was found, seen and done there, and the places it leads to."""

import argparse
from datetime import date
from pathlib import Path

from pupawatch.cli.parser import CAUSES, DANGERS, METHODS, SURFACES, Commands, labels
from pupawatch.cli.printing import done
from pupawatch.errors import NotUnderstood
from pupawatch.keeper import Keeper
from pupawatch.model.degrees import typed_degrees
from pupawatch.model.fields import is_day
from pupawatch.model.text import quoted
from pupawatch.model.times import local_day
from pupawatch.model.typed_times import parse_day


def register(commands: Commands) -> None:
    """These commands, with their options."""
    _places(commands)
    _looks(commands)
    _moves(commands)
    _ends(commands)
    _words(commands)


def _places(commands: Commands) -> None:
    place = commands.plain("place", "add or edit a place", _place)
    place.add_argument("name", metavar="NAME")
    place.add_argument("--surface", metavar="S", help=f"what it is made of: {SURFACES}")
    place.add_argument("--capacity", type=int, metavar="N", help="how many pupae it holds")
    place.add_argument("--clearance-cm", type=float, metavar="X", help="clear height below a hanging pupa")
    place.add_argument("--climbable", choices=("yes", "no"), help="whether a butterfly can climb there")
    place.add_argument("--temperature-c", type=float, metavar="T", help="its usual temperature, °C")
    place.add_argument("--length-cm", type=float, metavar="X", help="its length, cm")
    place.add_argument("--spacing-cm", type=float, metavar="X", help="spacing between pupae, cm")
    place.add_argument("--drip", choices=("yes", "no"), help="whether it drips or holds standing water")
    place.add_argument("--sun", choices=("yes", "no"), help="whether it gets direct sun")
    place.add_argument("--disturbed", metavar="BY", help="what disturbs it (ants, wasps, a cat), no for nothing")
    place.add_argument("--isolation", choices=("yes", "no"), help="whether only sick ones are hung there")
    place.add_argument("--retired", choices=("yes", "no"), help="whether it is retired: no longer visited")


def _looks(commands: Commands) -> None:
    found = commands.recording(
        "found",
        "record a new pupa, or that a prepupa (J) has pupated",
        lambda k, o, when: k.pupae.found(o.label, o.place, o.species, when, o.prepupa, o.brood),
    )
    labels(found)
    found.add_argument("--place", metavar="P", default="", help="where it hangs")
    found.add_argument("--species", metavar="S", default="", help="a species from species.toml")
    found.add_argument("--brood", metavar="B", default="", help="the brood it belongs to, a name of your own")
    found.add_argument("--prepupa", action="store_true", help="a prepupa: a caterpillar hanging to pupate")

    looked = commands.recording(
        "visited",
        "record that places were visited and nothing was new; without a place: the whole round",
        lambda k, o, when: k.places.looked(o.places, when),
    )
    looked.add_argument("places", nargs="*", metavar="PLACE")

    saw = commands.recording("saw", "record a colour stage", lambda k, o, when: k.pupae.saw(o.label, o.stage, when))
    labels(saw)
    saw.add_argument("stage", metavar="STAGE", help="soft, set, darkening, clear or empty")

    fell = commands.recording(
        "fell",
        "record that a pupa fell or is otherwise in danger",
        lambda k, o, when: k.pupae.fell(o.label, o.danger, when),
    )
    labels(fell)
    fell.add_argument("--danger", metavar="REASON", default="fallen", help=f"which danger: {DANGERS}; default: fallen")


def _moves(commands: Commands) -> None:
    move = commands.recording(
        "move",
        "record a move, if the move rule allows it",
        lambda k, o, when: k.moves.move(o.label, o.to, o.method, o.emergency, when, o.reason),
    )
    labels(move)
    move.add_argument("to", metavar="PLACE")
    move.add_argument("--method", metavar="M", default="", help=f"how: {METHODS}")
    move.add_argument(
        "--emergency",
        metavar="REASON",
        default="",
        help=f"the danger that overrides the minimum hanging time: {DANGERS}",
    )
    move.add_argument("--reason", metavar="TEXT", default="", help="why, in your own words")

    held = commands.recording(
        "held",
        "record whether a moved pupa still holds",
        lambda k, o, when: k.moves.held(o.label, o.held == "yes", when),
    )
    labels(held)
    held.add_argument("held", metavar="yes|no", choices=("yes", "no"))

    climb = commands.recording(
        "aid",
        "record a climbing aid set within reach of a pupa, the pupa untouched",
        lambda k, o, when: k.moves.climb(o.label, when),
    )
    labels(climb)


def _ends(commands: Commands) -> None:
    emerged = commands.recording(
        "emerged", "record that the butterfly is out", lambda k, o, when: k.pupae.emerged(o.label, o.place, when)
    )
    labels(emerged)
    emerged.add_argument("--place", metavar="P", default="", help="where, if not in its place")

    wings = commands.recording(
        "wings", "record the state of a butterfly's wings", lambda k, o, when: k.pupae.wings(o.label, o.condition, when)
    )
    labels(wings)
    wings.add_argument("condition", metavar="CONDITION", help="sound, creased, crumpled or unexpanded")

    lost = commands.recording(
        "lost", "record that a pupa produced no butterfly", lambda k, o, when: k.pupae.lost(o.label, o.cause, when)
    )
    labels(lost)
    lost.add_argument("cause", metavar="CAUSE", help=CAUSES)


def _words(commands: Commands) -> None:
    measured = commands.plain("measured", "record the lowest and highest temperature of a day in a place", _measured)
    measured.add_argument("place", metavar="PLACE")
    measured.add_argument("low", metavar="LOW", help="in the temperature_unit of keeper.toml, or as in 21.5C or 70F")
    measured.add_argument("high", metavar="HIGH")
    measured.add_argument("--day", metavar="DATE", help="the day; default: today")

    expect = commands.plain(
        "expect", "record the lowest and highest temperature expected on the coming days, tomorrow first", _expect
    )
    expect.add_argument("typed", nargs="*", metavar="LOW HIGH", help="in your unit, a pair for each day")
    expect.add_argument("--file", type=Path, metavar="FILE", help="take them from a weather file (CSV)")
    expect.add_argument(
        "--for", dest="place", metavar="PLACE", default="", help="only there; default: all unheated places"
    )
    expect.add_argument("--from", dest="first", metavar="DATE", help="the day of the first pair; default: tomorrow")

    relabel = commands.recording(
        "relabel", "give a pupa another label", lambda k, o, when: k.pupae.relabel(o.label, o.new, when)
    )
    relabel.add_argument("label", metavar="LABEL", help="its label, or a handle")
    relabel.add_argument("new", metavar="NEW", help="its new label")

    note = commands.recording(
        "note", "add a note about a pupa", lambda k, o, when: k.pupae.note(o.label, " ".join(o.text), when)
    )
    note.add_argument("label", metavar="LABEL")
    note.add_argument("text", nargs="+", metavar="TEXT")


def _place(keeper: Keeper, options: argparse.Namespace) -> int:
    from msgspec.structs import replace

    given = {
        "surface": options.surface,
        "capacity": options.capacity,
        "clearance_cm": options.clearance_cm,
        "temperature_c": options.temperature_c,
        "length_cm": options.length_cm,
        "spacing_cm": options.spacing_cm,
        "disturbed": "" if options.disturbed == "no" else options.disturbed,
    }
    for name in ("climbable", "retired", "drip", "sun", "isolation"):
        answer = getattr(options, name)
        given[name] = None if answer is None else answer == "yes"
    changes = {name: value for name, value in given.items() if value is not None}
    return done(keeper.places.describe(replace(keeper.settings.place_like(options.name), **changes)))


def _expect(keeper: Keeper, options: argparse.Namespace) -> int:
    """Keep what is expected of the coming days."""
    from pupawatch.keeper import weather

    if options.file is not None:
        return done(weather.expect_from(keeper, options.file, options.place))
    first = date.fromisoformat(options.first) if options.first and is_day(options.first) else None
    if options.first and first is None:
        raise NotUnderstood(f"{quoted(options.first)} is not a day; write it like 2026-08-14.")
    return done(weather.expect(keeper, options.typed, options.place, first))


def _measured(keeper: Keeper, options: argparse.Namespace) -> int:
    """Write down a day's lowest and highest temperature."""
    now, zone = keeper.clock(), keeper.settings.zone
    day = parse_day(options.day, zone, now) if options.day else local_day(now, zone)
    low_c, high_c = (typed_degrees(one, keeper.settings.unit) for one in (options.low, options.high))
    return done(keeper.temperatures.measured(options.place, low_c, high_c, day))
