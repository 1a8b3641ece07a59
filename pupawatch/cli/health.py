"""The commands about health: what to look for, what was found, what is cleaned and what is set apart."""

import argparse
from datetime import datetime

from pupawatch.care import health
from pupawatch.cli.parser import Commands
from pupawatch.cli.printing import Record, Say, done
from pupawatch.errors import NotUnderstood
from pupawatch.keeper import Keeper
from pupawatch.keeper.drafts import Done
from pupawatch.model.adult_settings import Health
from pupawatch.model.entries import Cleaned, Finding
from pupawatch.model.settings import Settings
from pupawatch.model.text import typed
from pupawatch.model.times import Span, iso, shown_time
from pupawatch.words.entries import entry_words
from pupawatch.words.health import recipe


def register(commands: Commands) -> None:
    """These commands, with their options."""
    told = "the signs to look for in one pupa or butterfly; without a label: what to quarantine, and the cleaning log"
    signs = commands.telling("health", told, _health)
    signs.add_argument("label", nargs="?", metavar="LABEL")

    asked = "record a health check of a pupa or butterfly; without a sign: nothing unusual"
    finding = commands.recording("finding", asked, _finding)
    finding.add_argument("label", metavar="LABEL")
    finding.add_argument(
        "signs",
        nargs="*",
        metavar="SIGN",
        help="signs of health.toml, which `health LABEL` lists for its stage; or your own words",
    )
    finding.add_argument("--text", metavar="TEXT", default="", help="a remark")
    count = finding.add_mutually_exclusive_group()
    count.add_argument("--spores", type=int, metavar="N", help="spores counted on a tape print")
    count.add_argument("--load", type=int, metavar="CLASS", help=argparse.SUPPRESS)  # as older versions counted

    cleaned = commands.recording(
        "cleaned",
        "record that a place was cleaned",
        lambda k, o, when: k.places.cleaned(o.place, o.how, o.minutes, when),
    )
    cleaned.add_argument("place", metavar="PLACE")
    cleaned.add_argument("how", metavar="HOW", help="gear, surface, plants or eggs; `health` shows the mixes")
    cleaned.add_argument("--minutes", type=float, metavar="N", help="how long the mix stood")

    quarantine = commands.plain("quarantine", "put a place in quarantine until it is cleaned", _quarantine)
    quarantine.add_argument("place", metavar="PLACE")
    quarantine.add_argument("--end", action="store_true", help="end it now, cleaned or not")


def _health(keeper: Keeper, options: argparse.Namespace, moment: datetime | None, say: Say) -> Record:
    return _look_at(keeper, options.label, moment, say) if options.label else _overview(keeper, moment, say)


def _look_at(keeper: Keeper, label: str, moment: datetime | None, say: Say) -> Record:
    """Tell which signs to look for on one individual now, and what was found."""
    pupa = keeper.pupa(label, moment)
    words, now = keeper.settings.health, moment or keeper.clock()
    stage = health.stage_of(pupa, now, keeper.settings)
    signs = health.signs_at(stage, words)
    say(f"{pupa.label} ({stage}). Look in good light. Which of these do you see?")
    for name, sign in signs.items():
        say(f"  {name:<12} {sign.words}")
    for finding in pupa.findings:
        say(f"  found {shown_time(finding.happened, keeper.settings.zone, now)}: {entry_words(finding)}")
    say(f"Record it: pupawatch finding {typed(pupa.label)} SIGN. {words.disclaimer}")
    asked = {name: {"words": s.words, "grade": s.grade, "means": s.means, "do": s.do} for name, s in signs.items()}
    found = [finding_record(finding, words) for finding in pupa.findings]
    return {"as_of": iso(now), "label": pupa.label, "stage": stage, "signs": asked, "findings": found}


def finding_record(finding: Finding, words: Health) -> Record:
    """One finding for other programs: spores as counted, load the class that older versions would have recorded."""
    load = health.class_of(finding.spores, words) if finding.spores is not None else finding.load
    return {
        "sign": finding.sign, "text": finding.text, "spores": finding.spores, "load": load,
        "seen": iso(finding.happened),
    }  # fmt: skip


def _overview(keeper: Keeper, moment: datetime | None, say: Say) -> Record:
    """Tell what should be set apart, what is (which is a setting, as it is now), and what was cleaned."""
    now, settings = moment or keeper.clock(), keeper.settings
    state = keeper.state_at(moment)
    proposals = [p for pupa in state.pupae.values() if (p := health.proposal(pupa, state, settings)) is not None]
    for proposal in proposals:
        done = " (in quarantine)" if settings.place(proposal.place).quarantined else ""
        say(f"{proposal.place}{done}: {proposal.why}; next to it: {', '.join(proposal.next_to) or 'nothing'}")
    apart = [place.name for place in settings.places if place.quarantined]
    say(f"In quarantine: {', '.join(apart) or 'nothing'}.")
    cleanings = [entry for entry in keeper.places.cleanings() if entry.happened <= now]
    for entry in cleanings:
        say(f"{shown_time(entry.happened, settings.zone, now):<17} {entry.place}: {entry_words(entry)}")
    for cleaning in settings.health.cleanings.values():
        say(f"{cleaning.words}: {recipe(cleaning)}")
    for caution in (*settings.health.cautions, settings.health.disclaimer):
        say(f"! {caution}")
    return {
        "as_of": iso(now),
        "proposals": [
            {"place": p.place, "beside": [b.label for b in p.beside], "next_to": p.next_to, "why": p.why}
            for p in proposals
        ],
        "quarantined": apart,
        "cleanings": [_cleaned_record(entry, settings) for entry in cleanings],
    }


def _finding(keeper: Keeper, options: argparse.Namespace, when: Span | None) -> Done:
    """Record what a second look showed."""
    return keeper.adults.check_health(options.label, options.signs, options.text, options.spores, when, options.load)


def _quarantine(keeper: Keeper, options: argparse.Namespace) -> int:
    """Set a place apart, or end that."""
    if not keeper.settings.knows_place(options.place):
        raise NotUnderstood(f"There is no place “{options.place}”; describe it first with `pupawatch place`.")
    return done(keeper.places.quarantine([options.place], not options.end))


def _cleaned_record(entry: Cleaned, settings: Settings) -> Record:
    enough = health.cleaned_enough(entry, settings.health)
    return {
        "place": entry.place, "how": entry.how, "minutes": entry.minutes, "long_enough": enough,
        "cleaned": iso(entry.happened),
    }  # fmt: skip
