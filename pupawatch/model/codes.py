"""The closed sets of words that the program chooses among: codes, the same in the journal, in JSON and in the settings.

Each is written once, as a type, so that the type checker refuses a misspelt one; the tuple of its values follows from
it, in an order that means something. What a keeper may add to (surfaces, losses, wings, signs, species) is no code
but a setting. A journal may hold any text where a code belongs: ``among`` is the way from a text to a code.
"""

from collections.abc import Sequence
from typing import Literal, TypeVar, get_args

Code = TypeVar("Code", bound=str)

Stage = Literal["soft", "set", "darkening", "clear", "empty"]
STAGES: tuple[Stage, ...] = get_args(Stage)
"""The colour stages of a pupa, in the order in which they come."""

DarkStage = Literal["darkening", "clear"]
DARK: tuple[DarkStage, ...] = get_args(DarkStage)
"""The colour stages that come in the last days of a pupa."""

HungStage = Literal["prepupa", Stage]
"""What hangs there, as it is shown: a colour stage, or a caterpillar before it pupates."""

LookedAt = Literal[HungStage, "adult"]
"""What a second look is taken at: what hangs there, or the butterfly that came out of it."""

CheckedStage = Literal["prepupa", "soft", "set", "darkening", "clear", "adult"]
"""Where a sign of health can be seen: not on an empty case."""

Sighting = Literal["fell", "climbed", "helped", "full", "died", "gone"]
ADULT_SIGHTINGS: tuple[Sighting, ...] = get_args(Sighting)
"""What can be seen of a butterfly in care: it fell, climbed back, was helped up, its wings are full, it died, it is
gone from where it dried."""

Sex = Literal["female", "male"]
SEXES: tuple[Sex, ...] = get_args(Sex)

Origin = Literal["reared", "wild-egg", "wild-larva", "wild-pupa"]
ORIGINS: tuple[Origin, ...] = get_args(Origin)
"""Where an individual came from: bred from the keeper's own stock, or brought in from outdoors as what."""

BroodSource = Literal["wild-egg", "wild-larva", "own-pairing", "other-keeper"]
BROOD_SOURCES: tuple[BroodSource, ...] = get_args(BroodSource)
"""Where a brood came from: eggs or caterpillars brought in from outdoors, the keeper's own pairing, another keeper."""

Sky = Literal["sun", "cloud", "rain"]
SKIES: tuple[Sky, ...] = get_args(Sky)
"""The weather at a release."""

VerdictKind = Literal["rescue", "leave", "soon", "wait", "care", "free", "none"]
VERDICTS: tuple[VerdictKind, ...] = get_args(VerdictKind)
"""Every verdict of the move rule, the most urgent first. ``wait`` and ``none`` refuse a move; the others advise."""

Proposed = Literal["rescue", "climb", "move"]
PROPOSED: tuple[Proposed, ...] = get_args(Proposed)
"""What a plan can propose, the most urgent first: bring it to safety, bring a climb to it untouched, hang it
elsewhere."""

Left = Literal["soft", "clear", "dark", "firming", "apart", "later", "peace", "empty"]
LEFT: tuple[Left, ...] = get_args(Left)
"""Why a plan leaves a pupa where it is: too soft to touch; clear, or darkening, in a good place; not firm yet in a good
place; its place is in quarantine; worth moving, but not this morning; nothing to gain; nothing hangs there."""

Ended = Literal["hangs", "holds", "moved on", "fell", "emerged", "lost"]
"""How a move ended: it hangs there, and was seen to hold; it was moved again; it came down; and so on."""

Phase = Literal[
    "floor", "expanding", "drying", "judge", "flightless", "ready", "mark", "handle", "resting", "kept"
]  # fmt: skip
"""What an adult waits for, the most urgent first."""

Grade = Literal["normal", "look-again", "set-apart"]
GRADES: tuple[Grade, ...] = get_args(Grade)
"""What a sign of health asks for, the gravest last."""

Basis = Literal["heat", "calendar", "rest"]
"""What a forecast rests on: temperatures; the usual days of the species; or it may overwinter, and has no date."""

Flag = Literal[
    "never-found",
    "found-twice",
    "formed-backwards",
    "hanging-after-formed",
    "seen-before-formed",
    "stage-went-back",
    "empty-not-emerged",
    "moved-after-emergence",
    "moved-after-loss",
    "emerged-twice",
    "emerged-before-formed",
    "emerged-and-lost",
    "wings-without-emergence",
    "wings-told-twice",
    "marked-before-emergence",
    "released-before-emergence",
    "moved-early",
    "unknown-place",
    "unknown-species",
    "dark-too-long",
    "dark-too-early",
    "prepupa-overdue",
    "sick",
    "exposed",
    "wasps",
    "look-again",
    "told-differently",
    "same-label",
    "clock-behind",
]
FLAGS: tuple[Flag, ...] = get_args(Flag)
"""What cannot all be so, or asks to be looked at. ``model.pupa`` raises those that follow from the entries alone,
``care.round`` those that need the settings or the hour."""


def among(text: str, codes: Sequence[Code]) -> Code | None:
    """The code that a text is, None where it is not one of these."""
    return next((code for code in codes if code == text), None)
