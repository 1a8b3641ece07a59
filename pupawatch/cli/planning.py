"""The commands about where pupae hang: the plan of the morning, and the moves so far."""

import argparse
from datetime import datetime

from pupawatch.care import moves as past
from pupawatch.care.moves import PastMove
from pupawatch.care.round import Plan, Proposal
from pupawatch.cli.parser import QUIET, Commands
from pupawatch.cli.printing import Record, Say, way_lines
from pupawatch.keeper import Keeper
from pupawatch.model.settings import Method
from pupawatch.model.times import iso
from pupawatch.words.entries import entry_time
from pupawatch.words.forecast import is_late
from pupawatch.words.moves import (
    PROTECTION_FAILS,
    left_line,
    past_move_line,
    proposal_line,
    protected,
    saved_words,
    tomorrow_line,
)
from pupawatch.words.pupae import to_do


def register(commands: Commands) -> None:
    """These commands, with their options."""
    plan = commands.telling("plan", "where each pupa should hang, and which are best left alone", _plan)
    plan.add_argument("--quiet", action="store_true", help=QUIET)

    moves = commands.telling("moves", "the moves so far, and how each ended", _moves)
    moves.add_argument("--place", metavar="P", default="", help="only from or to this place")
    moves.add_argument("--method", metavar="M", default="", help="only by this method")
    moves.add_argument("--early", action="store_true", help="only those before the minimum hanging time")
    moves.add_argument("--emergency", action="store_true", help="only emergencies")


def _plan(keeper: Keeper, options: argparse.Namespace, moment: datetime | None, say: Say) -> Record:
    """Tell the plan of the morning, and give its record for other programs."""
    from pupawatch.keeper.advice import Advice

    told = Advice(keeper, keeper.moves).morning(moment).plan
    assert told is not None
    for one in told.proposals:
        say(proposal_line(one))
        for way in one.standing.first_steps if one.kind == "rescue" and not options.quiet else ():
            _say_steps(way, say)
    if not told.proposals:
        say("Nothing to move this morning.")
    quiet = []
    for one in told.left:
        standing = one.standing
        if one.kind != "peace" or standing.unsafe:
            say(left_line(one))
        elif standing.look_again or is_late(standing.outlook) or standing.flags:
            say(f"{left_line(one)}; {to_do(standing, moment or keeper.clock(), keeper.settings.zone)}")
        else:
            quiet.append(standing.pupa.label)
    for labels, way in protected(told):
        say(f"protect   {labels}, where it hangs")
        if not options.quiet:
            _say_steps(way, say)
        say(f"     {PROTECTION_FAILS}")
    if quiet:
        say(f"leave     alone, hanging safely: {', '.join(quiet)}")
    if not options.quiet:
        methods = dict.fromkeys(one.method for one in told.proposals if one.kind != "rescue" and one.method)
        for name in methods:
            _say_steps(keeper.settings.care.methods[name], say)
    for line in (tomorrow_line(told), saved_words(told)):
        if line:
            say(line)
    return _plan_record(told)


def _say_steps(way: Method, say: Say) -> None:
    for line in way_lines(way):
        say(f"     {line}")


def _plan_record(told: Plan) -> Record:
    """The record of ``plan --json``: chances are fractions; ``risk`` counts bad emergences to be expected."""
    return {
        "as_of": iso(told.now),
        "moves_left": told.moves_left,
        "risk": {
            "now": round(told.risk_now, 4),
            "planned": round(told.risk_planned, 4),
            "saved": {"low": round(told.saved_low, 4), "high": round(told.saved_high, 4)},
        },
        "proposals": [_proposal_record(one) for one in told.proposals],
        "leave": [_proposal_record(one) for one in told.left],
        "tomorrow": [{"label": one.standing.pupa.label, "to": one.later.place} for one in told.tomorrow if one.later],
    }


def _proposal_record(one: Proposal) -> Record:
    pupa = one.standing.pupa
    return {
        "label": pupa.label,
        "species": pupa.species,
        "kind": one.kind,
        "verdict": one.standing.verdict.kind,
        "from": pupa.place,
        "to": one.place or None,
        "method": one.method or None,
        "why": one.why,
        "risk": {"stays": round(one.stays, 4), "moved": None if one.is_left else round(one.moved, 4)},
        "toss_up": one.toss_up,
    }


def _moves(keeper: Keeper, options: argparse.Namespace, moment: datetime | None, say: Say) -> Record:
    """Tell the moves so far, the newest first, and give their record for other programs."""
    now, settings = moment or keeper.clock(), keeper.settings
    place, method = keeper.moves.asked_place(options.place), keeper.moves.asked_method(options.method)
    every = past.past_moves(keeper.whole_state(moment).pupae.values(), settings)
    told = past.only(every, place, method, options.early, options.emergency)
    for one in told:
        say(f"{entry_time(one.move.entry, settings.zone, now):<34} {past_move_line(one)}")
    if not told:
        say("No such move." if every else "No moves yet.")
    return {"as_of": iso(now), "moves": [_move_record(one) for one in told]}


def _move_record(one: PastMove) -> Record:
    entry = one.move.entry
    return {
        "label": one.pupa.label,
        "since": iso(entry.since) if entry.since else None,
        "happened": iso(entry.happened),
        "from": one.move.origin,
        "to": entry.to,
        "method": entry.method or None,
        "hang_hours": {
            "at_least": round(one.hang.at_least, 2),
            "at_most": None if one.hang.at_most is None else round(one.hang.at_most, 2),
        },
        "stage": one.stage,
        "advice": entry.advice or None,
        "reason": entry.reason or None,
        "emergency": entry.emergency or None,
        "early": one.early,
        "held": one.move.held,
        "ended": one.ended,
        "wings": one.wings or None,
    }
