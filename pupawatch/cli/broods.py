"""The commands about broods: what is known of one, which pupae belong to it, and how many came through."""

import argparse
from datetime import datetime

from pupawatch.cli.parser import Commands
from pupawatch.cli.printing import Record, Say
from pupawatch.keeper import Keeper
from pupawatch.keeper.drafts import Done
from pupawatch.model.codes import BROOD_SOURCES
from pupawatch.model.state import natural_order
from pupawatch.model.times import Span, iso


def register(commands: Commands) -> None:
    """These commands, with their options."""
    brood = commands.recording("brood", "record a batch of eggs or caterpillars, or which pupae belong to it", _brood)
    brood.add_argument("name", metavar="NAME", help="a name of your own for the batch")
    brood.add_argument("--source", metavar="S", default="", help=", ".join(BROOD_SOURCES))
    brood.add_argument("--eggs", type=int, metavar="N", help="how many eggs")
    brood.add_argument("--hatched", type=int, metavar="N", help="how many hatched")
    brood.add_argument("--caterpillars", type=int, metavar="N", help="how many caterpillars there were")
    brood.add_argument("--lost", type=int, metavar="N", help="how many more were lost before pupation")
    brood.add_argument("--why", metavar="TEXT", default="", help="why they were lost")
    brood.add_argument("--pupae", nargs="+", metavar="LABEL", default=[], help="pupae that belong to it")
    commands.telling("broods", "every brood from egg to release, and by source", _broods)


def _brood(keeper: Keeper, options: argparse.Namespace, when: Span | None) -> Done:
    if options.pupae:
        return keeper.broods.belong(options.name, options.pupae, when)
    counts = {name: getattr(options, name) for name in ("eggs", "hatched", "caterpillars", "lost")}
    return keeper.broods.tell(options.name, options.source, counts, options.why, when)


def _broods(keeper: Keeper, _: argparse.Namespace, moment: datetime | None, say: Say) -> Record:
    """Tell every brood, step by step, then by source, and give the record for other programs."""
    from pupawatch.review.broods import losses_by_age, rates_by_source, steps, steps_by_source
    from pupawatch.words.broods import age_lines, brood_line, source_lines

    settings, pupae = keeper.settings, list(keeper.whole_state(moment).pupae.values())
    known = keeper.broods.known(pupae, moment)
    told = {name: steps(one, settings) for name, one in known.items()}
    for name, one in known.items():
        say(brood_line(one, told[name]))
    by_source = steps_by_source(known.values(), settings)
    rates = rates_by_source(known.values(), settings, moment or keeper.clock())
    ages = losses_by_age(pupae)
    for line in (*source_lines(by_source, rates), *age_lines(ages)):
        say(line)
    if not known:
        say("No broods yet. The first one: pupawatch brood NAME --source wild-egg --eggs 12")
    return {
        "as_of": iso(moment or keeper.clock()),
        "broods": [
            {
                "name": name, "source": one.source or None, "begun": iso(one.begun), "lost": one.lost,
                "pupae": sorted((pupa.label for pupa in one.pupae), key=natural_order), "steps": told[name]._asdict(),
            }
            for name, one in known.items()
        ],
        "by_source": {source: one._asdict() for source, one in by_source.items()},
        "losses_by_age": ages,
    }  # fmt: skip
