"""The moves that are proposed, and those that were made, in words."""

from pupawatch.care import risk
from pupawatch.care.choice import Ground
from pupawatch.care.moves import PastMove
from pupawatch.care.plan import Proposal
from pupawatch.model.codes import Left, Proposed, VerdictKind
from pupawatch.model.places import hangs_in
from pupawatch.model.settings import Place
from pupawatch.words.hours import hang_words

PLAN_WORDS: dict[Proposed | Left, str] = {
    "rescue": "RESCUE",
    "climb": "CLIMB",
    "move": "MOVE",
    "soft": "too soft",
    "clear": "clear",
    "dark": "dark",
    "firming": "not firm",
    "apart": "set apart",
    "later": "not today",
    "peace": "in peace",
    "empty": "empty",
}
"""What a plan proposes, or why it leaves a pupa where it is, in a word or two."""


_GENTLY: dict[VerdictKind, str] = {"soon": "today: ", "care": "gently: "}


def proposal_line(one: Proposal) -> str:
    """A proposal of the plan: what, whom, where to, and why."""
    pupa = one.standing.pupa
    goal = f"→ {one.place} ({one.method})" if one.place else f"in {pupa.place}"
    return f"{PLAN_WORDS[one.kind]:<9} {pupa.label:<8} {goal}; {_GENTLY.get(one.standing.verdict.kind, '')}{one.why}"


def left_line(one: Proposal) -> str:
    """One that the plan leaves where it is, and why."""
    return f"leave     {one.standing.pupa.label:<8} {one.why}"


def past_move_line(one: PastMove) -> str:
    """A move that was made, without its time: whom, from where to where, how, and how it ended."""
    entry = one.move.entry
    way = f"again in {entry.to}" if one.move.origin == entry.to else f"{one.move.origin or '?'} → {entry.to}"
    marks = [entry.method, f"{hang_words(one.hang)}, {one.stage}"]
    marks += ["too early"] if one.early else []
    marks += [f"emergency: {entry.emergency.replace('-', ' ')}"] if entry.emergency else []
    ended = f"{one.ended}, {one.wings}" if one.wings else one.ended
    return f"{one.pupa.label:<8} {ended:<19} {way} ({', '.join(mark for mark in marks if mark)})"


def figures(one: Proposal, ground: Ground) -> list[str]:
    """The numbers behind a proposal, a sentence each."""
    pupa, settings = one.standing.pupa, ground.settings

    def told(place: Place) -> str:
        expected = risk.expected_of(place, settings.profile(pupa.species), settings)
        record = risk.record_of(place.name, ground.records)
        own = f", your own record {record.bad} bad of {record.n}" if record.n else ", no record of your own yet"
        return f"{place.name}: {expected:.0%} to be expected{own}"

    lines = [f"If it stays, a bad emergence: {one.stays:.0%}. {told(hangs_in(pupa, settings))}."]
    option = next((option for option in one.standing.choice.options if option.place == one.place), None)
    if option is not None:
        goal = told(settings.place(one.place))
        handling = 1 - (1 - option.moved) / (1 - option.there) if option.there < 1 else 0.0
        lines.append(f"Moved: {one.moved:.0%}. {goal}; there {option.there:.0%}, and {handling:.0%} for the handling.")
    elif not one.is_left and one.moved < one.stays:
        lines.append(f"With a climb: {one.moved:.0%}.")
    return lines
