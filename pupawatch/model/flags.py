"""Contradictions made visible: what a journal says that cannot all be so, each as a short code and in words."""

from typing import TYPE_CHECKING

from pupawatch.model.entries import STAGES, Emerged, Found, Hanging, Lost, Wings

if TYPE_CHECKING:
    from pupawatch.model.pupa import Pupa

WORDS = {
    "never-found": "nothing says where or when it formed",
    "found-twice": "it is written down as found more than once",
    "formed-backwards": "the start of its formation interval is after the end",
    "hanging-after-formed": "seen as a hanging caterpillar after it is said to have formed; the later time counts",
    "seen-before-formed": "a colour stage was seen before it can have formed",
    "stage-went-back": "a later sighting gives an earlier colour stage",
    "empty-not-emerged": "its case was seen empty, but no emergence or loss is written down",
    "moved-after-emergence": "moved after it had emerged",
    "moved-after-loss": "moved after it was lost",
    "emerged-twice": "its emergence is written down more than once",
    "emerged-before-formed": "it emerged before it can have formed",
    "emerged-and-lost": "it is written down both as emerged and as lost",
    "wings-without-emergence": "wings were judged, but no emergence is written down",
    "wings-told-twice": "two things are said of its wings at one time; the last told counts",
    "marked-before-emergence": "marked before it emerged",
    "released-before-emergence": "released before it emerged",
    "moved-early": "moved before its set hanging time was over",
    "unknown-place": "its place is not among the places of the settings",
    "unknown-species": "its species has no profile; the default profile is used",
    "dark-too-long": "dark for longer than usual without turning clear: check it for signs of death or disease",
    "told-differently": "two journals that were united tell it differently; what claims least counts",
    "same-label": "another one in your care has the same label; give one of them another",
    "clock-behind": "the clock was behind when it was found; its hang time counts from the next entry about it",
}
"""Every flag there is. Those of this file come from the entries alone; ``care.round`` adds those that need the
settings or the hour."""


def contradictions(pupa: "Pupa") -> list[str]:
    """The flags that a pupa's own entries raise, in the order of ``WORDS``."""
    raised = {flag for flag, holds in _checks(pupa) if holds}
    return [flag for flag in WORDS if flag in raised]


def _checks(pupa: "Pupa") -> list[tuple[str, bool]]:
    kinds = [type(entry) for entry in pupa.entries]
    found = [entry for entry in pupa.entries if isinstance(entry, Found)]
    formed = pupa.formed_from or pupa.formed_to
    emerged, lost = pupa.emerged, pupa.lost
    judged = {(entry.condition, entry.happened) for entry in pupa.entries if isinstance(entry, Wings)}
    moves = [relocation.entry for relocation in pupa.relocations]
    # Orders are compared by what must have been: an interval that only touches is no contradiction.
    emerged_by = emerged.happened if emerged else None
    emerged_from = emerged.earliest if emerged else None
    colours = [STAGES.index(seen.stage) for seen in pupa.sightings if seen.stage in STAGES]
    return [
        ("never-found", not pupa.label),
        ("told-differently", pupa.disputed),
        ("found-twice", kinds.count(Found) > 1),
        (
            "formed-backwards",
            any(isinstance(e, Found) and e.since is not None and e.since > e.happened for e in pupa.entries),
        ),
        (
            "hanging-after-formed",
            any(isinstance(e, Hanging) and any(f.happened < e.happened for f in found) for e in pupa.entries),
        ),
        ("seen-before-formed", formed is not None and any(seen.happened < formed for seen in pupa.sightings)),
        ("stage-went-back", colours != sorted(colours)),
        ("empty-not-emerged", pupa.stage_seen == "empty" and emerged is None and lost is None),
        (
            "moved-after-emergence",
            emerged_by is not None and any(move.earliest > emerged_by for move in moves),
        ),
        ("moved-after-loss", lost is not None and any(move.earliest > lost.happened for move in moves)),
        ("emerged-twice", kinds.count(Emerged) > 1),
        ("emerged-before-formed", emerged_by is not None and formed is not None and emerged_by < formed),
        ("emerged-and-lost", emerged is not None and kinds.count(Lost) > 0),
        ("wings-without-emergence", pupa.wings is not None and emerged is None),
        ("wings-told-twice", len(judged) > len({at for _, at in judged})),
        (
            "marked-before-emergence",
            pupa.marked is not None and (emerged_from is None or pupa.marked.happened < emerged_from),
        ),
        (
            "released-before-emergence",
            pupa.released is not None and (emerged_from is None or pupa.released.happened < emerged_from),
        ),
    ]
