"""The command line: a face that understands what was typed, asks the keeper, and prints."""

import argparse
import os
import sys
from collections.abc import Callable
from io import TextIOWrapper
from pathlib import Path
from typing import NoReturn

from pupawatch.errors import PupawatchError, Unusable
from pupawatch.model.text import shown

_SPAN_HELP = "ISO 8601, as in 2026-08-14T06:40; without an offset in your zone; also 06:40, yesterday 21:00"


def main(arguments: list[str] | None = None) -> int:
    """Run one command and return its exit code: 0 done, 1 refused by a care rule, 2 not understood, 3 not usable."""
    if sys.stdout is None:  # closed by whoever started it: nothing can be answered, so nothing is done
        return Unusable.exit_code
    if sys.stderr is None:  # else what belongs there would be printed among the answer
        sys.stderr = open(os.devnull, "w")  # noqa: SIM115 (for as long as the program runs)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal or pipe that cannot carry a sign gets a question mark
    options = _parser().parse_args(arguments)
    try:
        from pupawatch.cli import commands

        code = commands.run(options)
        sys.stdout.flush()
        return code
    except PupawatchError as error:
        _complain(str(error))
        return error.exit_code
    except BrokenPipeError:
        _drop_output()  # whoever read it has read enough
        return 0
    except OSError as error:
        _complain(f"{error.filename or 'the output'}: {error.strerror or error}")
        _drop_output()
        return Unusable.exit_code
    except KeyboardInterrupt:
        return 130


class _Parser(argparse.ArgumentParser):
    """A parser that shows what was typed without letting it steer the terminal."""

    def error(self, message: str) -> NoReturn:
        super().error(shown(message))


def _drop_output() -> None:
    """Send what could not be printed nowhere, or Python would try once more at exit and complain."""
    try:
        sys.stdout.flush()
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _complain(message: str) -> None:
    for index, line in enumerate(message.split("\n")):
        print(f"{'' if index else 'pupawatch: '}{shown(line)}", file=sys.stderr)


def _parser() -> _Parser:
    everywhere = _Parser(add_help=False)
    everywhere.add_argument(
        "--journal", type=Path, metavar="FILE", default=argparse.SUPPRESS, help="the journal to use"
    )
    everywhere.add_argument(
        "--config", type=Path, metavar="DIR", default=argparse.SUPPRESS, help="the folder of your settings"
    )
    reading = _Parser(add_help=False, parents=[everywhere])
    reading.add_argument("--json", action="store_true", help="for other programs: stable names, UTC times, fractions")
    reading.add_argument("--as-of", metavar="TIME", help="look at the journal as it stood then")
    recording = _Parser(add_help=False, parents=[everywhere])
    time = recording.add_mutually_exclusive_group()
    time.add_argument("--at", metavar="TIME", help=f"when it happened ({_SPAN_HELP})")
    time.add_argument("--between", nargs=2, metavar=("T1", "T2"), help="between which two times it happened")

    parser = _Parser(
        prog="pupawatch",
        parents=[everywhere],
        description="From pupation to a well-winged adult flying away. Without a command it opens the dashboard.",
        epilog="Exit codes: 0 done, 1 refused by a care rule (nothing written), 2 not understood, "
        "3 the journal or a file is not usable. Keeping, moving, marking and releasing butterflies is regulated in "
        "places: your local rules come first.",
    )
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")

    def command(name: str, help: str, *parents: _Parser) -> _Parser:
        return commands.add_parser(name, help=help, description=help, parents=list(parents))

    command("demo", "open the dashboard on a copy of an invented season; harms nothing", everywhere)

    command("today", "what to do this morning, in order, with reasons", reading)
    pupae = command("pupae", "list the pupae in your care", reading)
    pupae.add_argument("--all", action="store_true", help="also those that emerged, were lost or let go")
    history = command("history", "all that was written down about one pupa", reading)
    history.add_argument("label", metavar="LABEL")
    command("places", "list the places in walking order", reading)

    forecast = command("forecast", "when they will emerge, and how sure that is", reading)
    forecast.add_argument("labels", nargs="*", metavar="LABEL")
    forecast.add_argument("--score", action="store_true", help="how good past forecasts were, lived through again")

    command("plan", "where each pupa should hang, and which are best left in peace", reading)
    moves = command("moves", "the moves so far, and how each ended", reading)
    moves.add_argument("--place", metavar="P", default="", help="only from or to this place")
    moves.add_argument("--method", metavar="M", default="", help="only by this method")
    moves.add_argument("--early", action="store_true", help="only those before the set hanging time was over")
    moves.add_argument("--emergency", action="store_true", help="only emergencies")

    review = command("review", "what the season taught: which sites and habits gave sound wings", reading)
    review.add_argument(
        "--by",
        metavar="FACTOR",
        default="site",
        help="site, place, surface, moved, method, hang, emergency, season, week, species, sex, finding or "
        "temperature; two at once with a comma",
    )
    review.add_argument("--only", metavar="FACTOR=GROUP", action="append", default=[], help="only pupae of that group")
    review.add_argument("--report", type=Path, metavar="FILE", help="write a page to print or to open in a browser")

    place = command("place", "add or edit a place", everywhere)
    place.add_argument("name", metavar="NAME")
    place.add_argument("--surface", metavar="S", help="what it is made of, one of the surfaces in care.toml")
    place.add_argument("--capacity", type=int, metavar="N", help="how many pupae find room")
    place.add_argument("--clearance-cm", type=float, metavar="X", help="clear height below a hanging pupa")
    place.add_argument("--climbable", choices=("yes", "no"), help="whether an adult can climb there")
    place.add_argument("--temperature-c", type=float, metavar="T", help="what it is usually kept at, in °C")
    place.add_argument("--length-cm", type=float, metavar="X", help="how long the edge or line is they hang along")
    place.add_argument("--spacing-cm", type=float, metavar="X", help="how far apart they hang there")
    place.add_argument("--drip", choices=("yes", "no"), help="whether it drips, or water stands there")
    place.add_argument("--sun", choices=("yes", "no"), help="whether it gets direct sun")
    place.add_argument("--disturbed", metavar="BY", help="what disturbs it (ants, wasps, a cat), no for nothing")
    place.add_argument("--retired", choices=("yes", "no"), help="whether it is no longer walked")

    found = command("found", "a new pupa, or a hanging caterpillar that has become one", recording)
    found.add_argument("label", metavar="LABEL")
    found.add_argument("--place", metavar="P", default="", help="where it hangs")
    found.add_argument("--species", metavar="S", default="", help="a profile of species.toml")
    found.add_argument("--prepupa", action="store_true", help="a hanging caterpillar, not yet a pupa")
    looked = command("looked", "places were looked over, nothing new; without a place the whole round", recording)
    looked.add_argument("places", nargs="*", metavar="PLACE")
    saw = command("saw", "a colour stage was seen", recording)
    saw.add_argument("label", metavar="LABEL")
    saw.add_argument("stage", metavar="STAGE", help="soft, set, darkening, clear or empty")
    fell = command("fell", "it fell, or is in another danger", recording)
    fell.add_argument("label", metavar="LABEL")
    fell.add_argument("--danger", metavar="REASON", default="fallen", help="another named emergency")
    move = command("move", "hang it elsewhere, if the move rule allows it", recording)
    move.add_argument("label", metavar="LABEL")
    move.add_argument("to", metavar="PLACE")
    move.add_argument("--method", metavar="M", default="", help="how, one of the methods in care.toml")
    move.add_argument("--emergency", metavar="REASON", default="", help="the named reason that waives the hanging time")
    move.add_argument("--reason", metavar="TEXT", default="", help="why, in your own words")
    held = command("held", "whether it holds where it was hung last", recording)
    held.add_argument("label", metavar="LABEL")
    held.add_argument("held", metavar="yes|no", choices=("yes", "no"))
    climb = command("climb", "a climb was brought to it, the pupa untouched", recording)
    climb.add_argument("label", metavar="LABEL")
    emerged = command("emerged", "the adult is out", recording)
    emerged.add_argument("label", metavar="LABEL")
    emerged.add_argument("--place", metavar="P", default="", help="where, if not in its place")
    wings = command("wings", "judge the wings of an adult", recording)
    wings.add_argument("label", metavar="LABEL")
    wings.add_argument("condition", metavar="CONDITION", help="sound, creased, crumpled or unexpanded")
    lost = command("lost", "it gave no adult", recording)
    lost.add_argument("label", metavar="LABEL")
    lost.add_argument("cause", metavar="CAUSE", help="one of the causes in care.toml; unknown is one")
    measured = command("measured", "the lowest and highest temperature of a day in a place, in your unit", everywhere)
    measured.add_argument("place", metavar="PLACE")
    measured.add_argument("low", metavar="LOW", help="in the temperature_unit of keeper.toml, or as in 21.5C or 70F")
    measured.add_argument("high", metavar="HIGH")
    measured.add_argument("--day", metavar="DATE", help="which day, today where it is left out")
    relabel = command("relabel", "give it another label", recording)
    relabel.add_argument("label", metavar="LABEL", help="the label it has, or a handle")
    relabel.add_argument("new", metavar="NEW", help="the label it gets")
    note = command("note", "free words about a pupa", recording)
    note.add_argument("label", metavar="LABEL")
    note.add_argument("text", nargs="+", metavar="TEXT")
    _about_adults(command, everywhere, reading, recording)
    undo = command("undo", "take back what was recorded here last since today's round began", everywhere)
    undo.add_argument("act", nargs="?", metavar="ACT", default="", help="exactly this act, however old: its id")
    command("redo", "redo what was undone last, until something new is recorded", everywhere)

    bring = command("import", "bring in a notebook or a logger's temperatures (CSV), all of it or nothing", everywhere)
    bring.add_argument("file", type=Path, metavar="FILE")
    bring.add_argument(
        "--as", dest="kind", choices=("notebook", "temperatures"), default="notebook", help="what the file is"
    )
    sensor = "temperatures: what to call the only sensor, or which of several to read"
    bring.add_argument("--sensor", metavar="NAME", default="", help=sensor)
    bring.add_argument(
        "--for", dest="places", nargs="+", metavar="PLACE", default=[], help="temperatures: the places it tells of"
    )
    bring.add_argument(
        "--layout", metavar="L", default="", help="temperatures: how times are written, as %%d.%%m.%%Y %%H:%%M"
    )
    bring.add_argument("--dry-run", action="store_true", help="say what it would bring, write nothing")
    export = command("export", "write every pupa into a notebook (CSV)", everywhere)
    export.add_argument("file", type=Path, metavar="FILE")
    command("check", "look for damage in the journal", everywhere)
    backup = command("backup", "write a checked copy of the journal", everywhere)
    backup.add_argument("file", type=Path, nargs="?", metavar="FILE")
    restore = command("restore", "put a copy in the stead of the journal; a damaged one is salvaged", everywhere)
    restore.add_argument("file", type=Path, nargs="?", metavar="FILE", help="left out: the newest good copy")
    restore.add_argument("--yes", action="store_true", help="also where the journal holds what the copy does not")
    unite = command("merge", "take in all that stands in another journal and not in this one", everywhere)
    unite.add_argument("file", type=Path, metavar="OTHER")
    unite.add_argument("--dry-run", action="store_true", help="say what it would bring, write nothing")
    unite.add_argument("--with-newer", action="store_true", help="also entries that a newer pupawatch wrote, unread")
    return parser


def _about_adults(command: Callable[..., _Parser], everywhere: _Parser, reading: _Parser, recording: _Parser) -> None:
    """The commands for what came out of the cases."""
    weather = _Parser(add_help=False)
    weather.add_argument("--temperature-c", type=float, metavar="T", help="°C in the shade, now or expected")
    weather.add_argument("--sky", metavar="S", default="", help="sun, cloud or rain")

    command("watch", "this morning's fresh adults with their clocks, and the pupae that come next", reading)
    told = "the living adults: hours, sex, wings, mark, and whether to let them fly"
    living = command("adults", told, reading, weather)
    living.add_argument("--all", action="store_true", help="also those of long ago that were never let fly")
    adult = command("adult", "something was seen of an adult", recording)
    adult.add_argument("label", metavar="LABEL")
    adult.add_argument("what", metavar="WHAT", help="fell, climbed (back), helped (up), full (its wings), died")
    sex = command("sex", "the sex was seen", recording)
    sex.add_argument("label", metavar="LABEL")
    sex.add_argument("sex", metavar="SEX", help="female or male; `adults` tells the characters")
    origin = command("origin", "where it came from", recording)
    origin.add_argument("label", metavar="LABEL")
    origin.add_argument("origin", metavar="ORIGIN", help="reared, wild-egg, wild-larva or wild-pupa")
    mark = command("mark", "put a mark on an adult; your own marking programme and local rules come first", recording)
    mark.add_argument("label", metavar="LABEL")
    mark.add_argument(
        "code", nargs="?", metavar="CODE", default="", help="left out: the next one of this season's series"
    )
    mark.add_argument("--sex", metavar="SEX", default="", help="female or male")
    mark.add_argument("--origin", metavar="ORIGIN", default="", help="where it came from")
    release = command("release", "let an adult fly, or say where one that cannot is kept", recording, weather)
    release.add_argument("label", metavar="LABEL")
    release.add_argument("--place", metavar="P", default="", help="where it was let fly")
    release.add_argument("--kept", metavar="P", default="", help="it cannot fly: where it is kept")

    health = command("health", "the signs to look for on one; or what to set apart, and the cleaning log", reading)
    health.add_argument("label", nargs="?", metavar="LABEL")
    finding = command("finding", "a second look at a pupa or an adult; without a sign: nothing unusual", recording)
    finding.add_argument("label", metavar="LABEL")
    finding.add_argument("signs", nargs="*", metavar="SIGN", help="signs of health.toml, or your own words")
    finding.add_argument("--text", metavar="TEXT", default="", help="what to add")
    count = finding.add_mutually_exclusive_group()
    count.add_argument("--load", type=int, metavar="CLASS", help="the class of a spore count")
    count.add_argument("--spores", type=int, metavar="N", help="spores counted on a tape print")
    cleaned = command("cleaned", "a place was cleaned", recording)
    cleaned.add_argument("place", metavar="PLACE")
    cleaned.add_argument("how", metavar="HOW", help="gear, surface, plants or eggs; `health` tells the mixes")
    cleaned.add_argument("--minutes", type=float, metavar="N", help="how long it stood")
    quarantine = command("quarantine", "set a place apart until it is cleaned", everywhere)
    quarantine.add_argument("place", metavar="PLACE")
    quarantine.add_argument("--end", action="store_true", help="end it")
    sheet = command("sheet", "the data sheet: print it, or write it to a .csv, .html or .txt file", reading)
    sheet.add_argument("file", type=Path, nargs="?", metavar="FILE")
    sheet.add_argument("--from", dest="since", metavar="DAY", help="the first day, left out: this season's first")
    sheet.add_argument("--to", dest="until", metavar="DAY", help="the last day, left out: today")
    sheet.add_argument("--columns", metavar="A,B", default="", help="which, left out: those of keeper.toml")
