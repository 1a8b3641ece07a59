"""The command line: a face that understands what was typed, asks the keeper, and prints."""

import argparse
import os
import sys
from io import TextIOWrapper
from pathlib import Path
from typing import NoReturn

from pupawatch.errors import PupawatchError, Unusable
from pupawatch.model.text import shown

_SPAN_HELP = "ISO 8601, as in 2026-08-14T06:40; without an offset in your zone; also 06:40, yesterday 21:00"


def main(arguments: list[str] | None = None) -> int:
    """Run one command and return its exit code: 0 done, 1 refused by a care rule, 2 not understood, 3 not usable."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal or pipe that cannot carry a sign gets a question mark
    options = _parser().parse_args(arguments)
    try:
        from pupawatch import commands

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

    def command(name: str, help: str, parent: _Parser) -> _Parser:
        return commands.add_parser(name, help=help, description=help, parents=[parent])

    command("demo", "open the dashboard on a copy of an invented season; harms nothing", everywhere)

    command("today", "what to do this morning, in order, with reasons", reading)
    pupae = command("pupae", "list the pupae in your care", reading)
    pupae.add_argument("--all", action="store_true", help="also those that emerged, were lost or let go")
    history = command("history", "all that was written down about one pupa", reading)
    history.add_argument("label", metavar="LABEL")
    command("places", "list the places in walking order", reading)

    place = command("place", "add or edit a place", everywhere)
    place.add_argument("name", metavar="NAME")
    place.add_argument("--surface", metavar="S", help="what it is made of, one of the surfaces in care.toml")
    place.add_argument("--capacity", type=int, metavar="N", help="how many pupae find room")
    place.add_argument("--clearance-cm", type=float, metavar="X", help="clear height below a hanging pupa")
    place.add_argument("--climbable", choices=("yes", "no"), help="whether an adult can climb there")
    place.add_argument("--temperature-c", type=float, metavar="T", help="what it is usually kept at, in °C")
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
    emerged = command("emerged", "the adult is out", recording)
    emerged.add_argument("label", metavar="LABEL")
    emerged.add_argument("--place", metavar="P", default="", help="where, if not in its place")
    wings = command("wings", "judge the wings of an adult", recording)
    wings.add_argument("label", metavar="LABEL")
    wings.add_argument("condition", metavar="CONDITION", help="sound, creased, crumpled or unexpanded")
    lost = command("lost", "it gave no adult", recording)
    lost.add_argument("label", metavar="LABEL")
    lost.add_argument("cause", metavar="CAUSE", help="one of the causes in care.toml; unknown is one")
    note = command("note", "free words about a pupa", recording)
    note.add_argument("label", metavar="LABEL")
    note.add_argument("text", nargs="+", metavar="TEXT")
    command("undo", "take the last act back", everywhere)
    command("redo", "do it again after all", everywhere)

    bring = command("import", "bring in a notebook (CSV), all of it or nothing", everywhere)
    bring.add_argument("file", type=Path, metavar="FILE")
    bring.add_argument("--as", dest="kind", choices=("notebook",), default="notebook", help="what the file is")
    bring.add_argument("--dry-run", action="store_true", help="say what it would bring, write nothing")
    export = command("export", "write every pupa into a notebook (CSV)", everywhere)
    export.add_argument("file", type=Path, metavar="FILE")
    command("check", "look for damage in the journal", everywhere)
    backup = command("backup", "write a checked copy of the journal", everywhere)
    backup.add_argument("file", type=Path, nargs="?", metavar="FILE")
    restore = command("restore", "put a copy in the stead of the journal; the old file is kept", everywhere)
    restore.add_argument("file", type=Path, metavar="FILE")
    return parser
