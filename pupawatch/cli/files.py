"""The commands for files of other programs: a notebook or a logger's readings in, a notebook out."""

import argparse
import sys
from pathlib import Path

from pupawatch.cli.parser import Commands
from pupawatch.cli.printing import bar, say
from pupawatch.errors import NotUnderstood
from pupawatch.keeper import Keeper
from pupawatch.model.text import counted


def register(commands: Commands) -> None:
    """These commands, with their options."""
    told = "import a notebook, a table of your own (CSV or spreadsheet) or a logger's temperatures (CSV)"
    bring = commands.plain("import", told, _bring)
    bring.add_argument("file", type=Path, metavar="FILE")
    bring.add_argument(
        "--as",
        dest="kind",
        choices=("notebook", "table", "temperatures"),
        help="what the file is, whatever its header says",
    )
    sensor = "temperatures: a name for the only sensor, or which of several to read"
    bring.add_argument("--sensor", metavar="NAME", default="", help=sensor)
    bring.add_argument(
        "--for", dest="places", nargs="+", metavar="PLACE", default=[], help="temperatures: the places it measures"
    )
    bring.add_argument(
        "--layout", metavar="L", default="", help="temperatures: how times are written, as %%d.%%m.%%Y %%H:%%M"
    )
    unit = "temperatures: their unit, where the file names none"
    bring.add_argument("--unit", type=str.upper, choices=("C", "F"), default=None, help=unit)
    faulty = (
        "a table: take the proposed reading if no question is open; temperatures: import the good readings of a "
        "file with many faults"
    )
    bring.add_argument("--accept", action="store_true", help=faulty)
    mapping = "a table: how it is read; where FILE is missing it is made, with the open questions to fill in"
    bring.add_argument("--map", type=Path, dest="mapping", metavar="FILE", help=mapping)
    left = "a table: import every pupa without a bad cell, and write the rows left out to this file with the reason"
    bring.add_argument("--leave-out", type=Path, metavar="FILE", help=left)
    bring.add_argument("--dry-run", action="store_true", help="preview only; write nothing")

    export = commands.plain("export", "write a notebook (CSV), tables for other programs, or a calendar", _export)
    export.add_argument("file", type=Path, metavar="FILE|DIR")
    export.add_argument(
        "--as", dest="kind", choices=("notebook", "tables", "calendar"), default="notebook", help="what to write"
    )
    export.add_argument(
        "--with-notes", action="store_true", help="tables: also your notes, which are left out otherwise"
    )
    export.add_argument(
        "--alarm", type=int, metavar="MINUTES", default=None, help="calendar: a reminder so long before each event"
    )


def _bring(keeper: Keeper, options: argparse.Namespace) -> int:
    """Bring in a notebook or a logger's readings: all of it or nothing, also where it is stopped."""
    from pupawatch.exchange.logger import bringing as logged
    from pupawatch.exchange.notebook import bringing as exchange
    from pupawatch.exchange.notebook.reading import is_notebook

    if options.kind is None:
        options.kind = "notebook" if is_notebook(options.file) else "table"
    if options.kind == "table":
        from pupawatch.cli.tables import bring_table

        return bring_table(keeper, options)

    before = keeper.last()
    try:
        with bar() as watch:
            if options.kind == "temperatures":
                told = logged.temperatures(
                    keeper,
                    options.file,
                    options.sensor,
                    options.places,
                    options.layout,
                    options.dry_run,
                    watch,
                    options.unit,
                    options.accept,
                ).lines()
            elif options.dry_run:
                told = exchange.notebook_preview(keeper, options.file, watch).lines()
            else:
                preview, written = exchange.notebook_in(keeper, options.file, watch)
                told = [*preview.lines(), f"{written} entries imported."]
    except KeyboardInterrupt:
        how = "nothing was written" if keeper.last() == before else "but everything had been written already"
        print(f"Stopped; {how}.", file=sys.stderr)
        raise
    for line in told:
        say(line)
    if options.dry_run:
        say("Nothing was written (--dry-run).")
    elif options.kind == "temperatures" and not options.places:
        say("To use them for a place, import again with --for PLACE; readings already in the journal are skipped.")
    return 0


def _export(keeper: Keeper, options: argparse.Namespace) -> int:
    """Write every pupa into a notebook, all into tables, or what is coming into a calendar."""
    if options.kind == "tables":
        return _export_tables(keeper, options)
    if options.kind == "calendar":
        return _export_calendar(keeper, options)
    import csv
    import io

    from pupawatch.exchange import new_file
    from pupawatch.exchange.notebook import writing as notebook_out

    pupae = keeper.whole_state().pupae.values()
    text = io.StringIO()
    csv.writer(text).writerows(notebook_out.rows(pupae, keeper.settings.zone))
    new_file.write(options.file, new_file.FOR_SPREADSHEETS + text.getvalue())
    say(f"{counted(len(pupae), 'pupa', 'pupae')} written to {options.file}.")
    return 0


def _export_tables(keeper: Keeper, options: argparse.Namespace) -> int:
    from pupawatch.exchange import tables

    names = tables.write(keeper, options.file, options.with_notes)
    say(f"{', '.join(names)} written to {options.file}.")
    return 0


def _export_calendar(keeper: Keeper, options: argparse.Namespace) -> int:
    from pupawatch.exchange import calendar, new_file
    from pupawatch.keeper.advice import Advice

    if options.alarm is not None and not 0 <= options.alarm <= 10_080:
        raise NotUnderstood(f"--alarm {options.alarm}: from 0 minutes to 10080, a week.")
    data, count = calendar.written(keeper, Advice(keeper, keeper.moves).morning(), options.alarm)
    new_file.write(options.file, data.decode())
    say(f"{counted(count, 'event', 'events')} written to {options.file}.")
    return 0
