"""The moves that are proposed, and those that were made, in words."""

from pupawatch.care import risk
from pupawatch.care.moves import PastMove
from pupawatch.care.picture import Picture
from pupawatch.care.plan import chance_moved
from pupawatch.care.round import Plan, Proposal
from pupawatch.model.codes import Left, Proposed, VerdictKind
from pupawatch.model.places import hangs_in
from pupawatch.model.settings import Method, Place
from pupawatch.model.text import in_percent
from pupawatch.words.hours import hang_words
from pupawatch.words.methods import how_words

PLAN_WORDS: dict[Proposed | Left, str] = {
    "rescue": "RESCUE",
    "climb": "AID",
    "move": "MOVE",
    "soft": "too soft",
    "clear": "clear",
    "dark": "darkening",
    "firming": "not firm",
    "apart": "quarantine",
    "later": "not today",
    "peace": "leave alone",
    "empty": "empty",
}
"""What a plan proposes, or why it leaves a pupa where it is, in a word or two."""


PROTECTION_FAILS = "If that fails, record the danger and move it as an emergency."

TOSS_UP = "a toss-up: given how uncertain the risks are, it may as well stay"
"""What is said of a move whose gain is not sure to be worth it."""

_GENTLY: dict[VerdictKind, str] = {"soon": "today: ", "care": "gently: "}


def proposal_line(one: Proposal) -> str:
    """A proposal of the plan: what, whom, where to, and why."""
    pupa = one.standing.pupa
    goal = f"→ {one.place} ({how_words(one.method)})" if one.place else f"in {pupa.place}"
    gently = _GENTLY.get(one.standing.verdict.kind, "")
    return f"{PLAN_WORDS[one.kind]:<9} {pupa.label:<8} {goal}; {gently}{one.why}{'; ' + TOSS_UP if one.toss_up else ''}"


def left_line(one: Proposal) -> str:
    """One that the plan leaves where it is, and why."""
    return f"leave     {one.standing.pupa.label:<8} {one.why}"


def protected(plan: Plan) -> list[tuple[str, Method]]:
    """How those that stay are to be protected where they hang, each way once, with the labels of those it is for."""
    labels: dict[str, list[str]] = {}
    ways: dict[str, Method] = {}
    for one in plan.left:
        for way in one.standing.protection:
            ways[way.words] = way
            labels.setdefault(way.words, []).append(one.standing.pupa.label)
    return [(", ".join(labels[words]), way) for words, way in ways.items()]


def tomorrow_line(plan: Plan) -> str:
    """What the plan moves on the next morning, in one line; "" where it is nothing."""
    told = [f"{one.standing.pupa.label} to {one.later.place}" for one in plan.tomorrow if one.later is not None]
    return f"And tomorrow: {', '.join(told)}." if told else ""


def saved_words(plan: Plan) -> str:
    """What the plan of this morning saves, with its range; "" where nothing is proposed."""
    if not plan.proposals:
        return ""
    saved = plan.risk_now - plan.risk_planned
    low, high = max(0.0, plan.saved_low), max(0.0, plan.saved_high)
    return (
        f"Bad emergences expected: {plan.risk_now:.1f} if nothing moves, {plan.risk_planned:.1f} with this plan; "
        f"{saved:.1f} fewer (4 in 5: {low:.1f}–{high:.1f})."
    )


def way_words(one: PastMove) -> str:
    """From where to where it was moved."""
    entry = one.move.entry
    return f"again in {entry.to}" if one.move.origin == entry.to else f"{one.move.origin or '?'} → {entry.to}"


def past_move_line(one: PastMove) -> str:
    """A move that was made, without its time: whom, from where to where, how, and how it ended."""
    entry = one.move.entry
    marks = [how_words(entry.method), f"{hang_words(one.hang)}, {one.stage}"]
    marks += ["too early"] if one.early else []
    marks += [f"emergency: {entry.emergency.replace('-', ' ')}"] if entry.emergency else []
    ended = f"{one.ended}, {one.wings}" if one.wings else one.ended
    return f"{one.pupa.label:<8} {ended:<19} {way_words(one)} ({', '.join(mark for mark in marks if mark)})"


def figures(one: Proposal, picture: Picture) -> list[str]:
    """The numbers behind a proposal, a sentence each."""
    pupa, settings = one.standing.pupa, picture.settings

    def told(place: Place) -> str:
        expected = risk.expected_of(place, settings.profile(pupa.species), settings)
        record = picture.place(place.name).record
        own = (
            f", your own record {record.bad} bad of {record.n}" if record.n else ", no emergences of your own there yet"
        )
        return f"{place.name}: {in_percent(expected)} is the default{own}"

    lines = [f"If it stays, a bad emergence: {in_percent(one.stays)}. {told(hangs_in(pupa, settings))}."]
    candidate = one.standing.choice.candidate
    if not pupa.danger and any(chance < 1 for chance in candidate.inside):
        inside = ", ".join(in_percent(chance) for chance in candidate.inside)
        lines.append(f"Still inside now and on the coming mornings: {inside}.")
    goal = next((goal for goal in candidate.goals if goal.place == one.place), None)
    if goal is not None:
        handling = candidate.handling[0]
        lines.append(
            f"Moved: {in_percent(chance_moved(candidate, goal, 0))}. {told(settings.place(goal.place))}; there "
            f"{in_percent(goal.there)}, and {in_percent(handling)} from handling."
        )
    elif not one.is_left and one.moved < one.stays:
        lines.append(f"With a climbing aid: {in_percent(one.moved)}.")
    return [*lines, *([f"{TOSS_UP[:1].upper()}{TOSS_UP[1:]}."] if one.toss_up else [])]
