"""How pupae of one label are told apart, and why a label cannot be given, in words."""

from collections.abc import Sequence
from datetime import datetime

from pupawatch.care import hang
from pupawatch.model.labels import handles
from pupawatch.model.pupa import Pupa
from pupawatch.model.text import typed
from pupawatch.model.times import shown_time
from pupawatch.words.hours import elapsed
from pupawatch.words.pupae import became


def ambiguity(word: str, meant: Sequence[Pupa], now: datetime, zone: str) -> str:
    """Why nothing is done about a word that can mean several pupae, and how to say which is meant."""
    first = handles([pupa.id for pupa in meant], word)[0]
    return (
        f"{word} can mean {len(meant)} pupae: {told_apart(word, meant, now, zone)}. Nothing was done. Type the "
        f"handle of the one you mean instead of the label; `pupawatch relabel {typed(first)} NEW` gives one "
        "another label."
    )


def told_apart(word: str, meant: Sequence[Pupa], now: datetime, zone: str) -> str:
    """Each with a handle, where it is, and since when it hangs or what became of it."""
    named = zip(handles([pupa.id for pupa in meant], word), meant, strict=True)
    return "; ".join(f"{handle} is {_what(pupa, now, zone)}" for handle, pupa in named)


def taken(holder: Pupa, free: str, now: datetime, zone: str) -> str:
    """Why the label that a pupa holds cannot be given to another, and what to do. free: another label to propose."""
    kind = "prepupa" if holder.is_prepupa else "pupa" if holder.is_open else "butterfly"
    held = f"The label {holder.label} is taken by a {kind} in {holder.place}"
    if holder.emerged is None:
        return f"{held}; try {free}."
    return (
        f"{held}, out since {shown_time(holder.emerged.happened, zone, now)} and never recorded as released or dead. "
        f"If it is gone, record that: `pupawatch release {typed(holder.label)} --at DAY` or "
        f"`pupawatch adult {typed(holder.label)} died --at DAY`. "
        f"Or try {free}."
    )


def _what(pupa: Pupa, now: datetime, zone: str) -> str:
    where = pupa.place or "an unknown place"
    if pupa.is_prepupa and pupa.is_open:
        return f"a prepupa in {where}"
    if not pupa.is_open:
        kind = "a butterfly" if pupa.is_adult else "one"
        return f"{kind} in {where}, {became(pupa, now, zone)}"
    if pupa.formed_to is None:
        return f"a pupa in {where}, pupation time not recorded"
    at_least, at_most = hang.hang_time(pupa, now)
    most = "" if at_most is None else f" and at most {elapsed(at_most)}"
    return f"a pupa in {where} that has hung at least {elapsed(at_least)}{most}"
