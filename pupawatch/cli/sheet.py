"""The command for the data sheet of the butterflies."""

import argparse
from datetime import datetime
from pathlib import Path

from pupawatch.care import adults
from pupawatch.cli.parser import Commands
from pupawatch.cli.printing import Record, Say
from pupawatch.errors import NotUnderstood
from pupawatch.keeper import Keeper
from pupawatch.model.text import counted
from pupawatch.model.times import iso, local_day
from pupawatch.model.typed_times import parse_day


def register(commands: Commands) -> None:
    """This command, with its options."""
    sheet = commands.telling("sheet", "the data sheet: print it, or write it to a .csv, .html or .txt file", _sheet)
    sheet.add_argument("file", type=Path, nargs="?", metavar="FILE")
    sheet.add_argument("--from", dest="since", metavar="DAY", help="the first day; default: the first of the season")
    sheet.add_argument("--to", dest="until", metavar="DAY", help="the last day; default: today")
    sheet.add_argument("--columns", metavar="A,B", default="", help="which; default: those of keeper.toml")


def _sheet(keeper: Keeper, options: argparse.Namespace, moment: datetime | None, say: Say) -> Record:
    """Print or write the data sheet."""
    from pupawatch.exchange import sheet as sheets

    now, zone = moment or keeper.clock(), keeper.settings.zone
    since = parse_day(options.since, zone, now) if options.since else adults.season_begins(now, keeper.settings)
    until = parse_day(options.until, zone, now) if options.until else local_day(now, zone)
    if since > until:
        raise NotUnderstood(f"The sheet would begin on {since}, after its end on {until}; give the earlier day first.")
    columns = [column.strip() for column in options.columns.split(",") if column.strip()]
    rows = sheets.table(keeper.whole_state(moment).pupae.values(), keeper.settings, since, until, columns)
    if options.file:
        path: Path = options.file
        sheets.write(rows, path, f"Butterflies, {since} to {until}")
        say(f"{counted(len(rows) - 1, 'butterfly', 'butterflies')} from {since} to {until} written to {path}.")
    else:
        for line in sheets.as_text(rows).splitlines():
            say(line)
    names = columns or list(keeper.settings.keeper.sheet.columns)
    listed = [dict(zip(names, row, strict=True)) for row in rows[1:]]
    return {"as_of": iso(now), "from": since.isoformat(), "to": until.isoformat(), "rows": listed}
