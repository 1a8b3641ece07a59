"""The command about the seasons behind: what they taught."""

import argparse
import shutil
from datetime import datetime
from pathlib import Path

from pupawatch.cli.parser import Commands
from pupawatch.cli.printing import Record, Say, bar
from pupawatch.errors import NotUnderstood
from pupawatch.keeper import Keeper
from pupawatch.model.text import quoted

_NARROWEST, _WIDEST = 60, 120


def register(commands: Commands) -> None:
    """This command, with its options."""
    told = "which pupation sites and habits gave sound wings, from your own records"
    review = commands.telling("review", told, _review)
    review.add_argument(
        "--by",
        metavar="FACTOR",
        default="site",
        help="site, place, surface, moved, method, hang, emergency, season, week, species, sex, brood, finding or "
        "temperature; two at once with a comma",
    )
    review.add_argument("--only", metavar="FACTOR=GROUP", action="append", default=[], help="only pupae of that group")
    review.add_argument("--report", type=Path, metavar="FILE", help="write a page to print or to open in a browser")


def _review(keeper: Keeper, options: argparse.Namespace, moment: datetime | None, say: Say) -> Record:
    """Tell what your records show, write it as a report, or (with --json) give only the counts and rates."""
    from pupawatch.review import page
    from pupawatch.words import review_page

    now = moment or keeper.clock()
    pupae = list(keeper.whole_state(moment).pupae.values())
    only = dict(_filter(one) for one in options.only)
    if options.json:
        return page.review_json(pupae, keeper.settings, options.by, only, now)
    broods = keeper.broods.known(pupae, moment).values()
    with bar() as watch:
        told = page.page(pupae, keeper.settings, now, options.by, only, broods, lambda _, of: watch("comparing", 1, of))
    if options.report:
        from pupawatch.exchange import report

        report.write(told, options.report)
        say(f"The report is in {options.report}; it opens in any browser, without a network.")
        return {}
    for line in review_page.lines(told, min(_WIDEST, max(_NARROWEST, shutil.get_terminal_size().columns))):
        say(line)
    return {}


def _filter(typed: str) -> tuple[str, str]:
    factor, equals, group = typed.partition("=")
    if not equals:
        raise NotUnderstood(f"{quoted(typed)} does not say of what: write it like --only species=monarch.")
    return factor.strip(), group.strip()
