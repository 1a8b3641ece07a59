"""The moves so far: what was known at each, and how it ended."""

from collections.abc import Iterable
from datetime import datetime
from typing import NamedTuple

from pupawatch.care import hang
from pupawatch.care.hang import HangTime
from pupawatch.model.codes import Ended, HungStage
from pupawatch.model.entries import Fell, Found, Hanging, Relabelled
from pupawatch.model.fold import fold
from pupawatch.model.pupa import Pupa, Relocation
from pupawatch.model.settings import Settings


class PastMove(NamedTuple):
    """One move. hang, stage: at the time of the move; early: before its set hanging time was certainly over, and no
    emergency. wings: their condition where it emerged from there and they were judged."""

    pupa: Pupa
    move: Relocation
    hang: HangTime
    stage: HungStage
    early: bool
    ended: Ended
    wings: str


def as_of(pupa: Pupa, at: datetime) -> Pupa:
    """The pupa as it stood at ``at``, with all that is known of how it formed and what it is called."""
    return fold(pupa.id, [e for e in pupa.entries if e.happened <= at or isinstance(e, Found | Hanging | Relabelled)])


def past_moves(pupae: Iterable[Pupa], settings: Settings) -> list[PastMove]:
    """Every move of these pupae, the newest first."""
    told = [_told(pupa, number, settings) for pupa in pupae for number in range(len(pupa.relocations))]
    return sorted(told, key=lambda one: (one.move.entry.happened, one.move.entry.id), reverse=True)


def only(
    moves: Iterable[PastMove], place: str = "", method: str = "", early: bool = False, emergency: bool = False
) -> list[PastMove]:
    """Those from or to a place, by a method, too early, or in an emergency; what is left empty is not asked for."""
    return [
        one
        for one in moves
        if place in ("", one.move.origin, one.move.entry.to)
        and method in ("", one.move.entry.method)
        and (one.early or not early)
        and (bool(one.move.entry.emergency) or not emergency)
    ]


def _told(pupa: Pupa, number: int, settings: Settings) -> PastMove:
    move = pupa.relocations[number]
    entry = move.entry
    then = fold(
        pupa.id,
        [e for e in pupa.entries if e.happened < entry.happened or isinstance(e, Found | Hanging)],
    )
    (at_least, _), limits, stage, formed = hang.hung(then, entry.earliest, settings, entry.recorded)
    return PastMove(
        pupa,
        move,
        HangTime(at_least, hang.hang_time(then, entry.happened).at_most),
        stage,
        not entry.emergency and (formed is None or at_least < limits.soft),
        *_ended(pupa, number),
    )


def _ended(pupa: Pupa, number: int) -> tuple[Ended, str]:
    move, later = pupa.relocations[number], pupa.relocations[number + 1 :]
    until = later[0].entry.happened if later else None
    fell = any(
        isinstance(entry, Fell) and entry.reason == "fallen" and entry.happened > move.entry.happened
        for entry in pupa.entries
        if until is None or entry.happened <= until
    )
    if fell or move.held is False:
        return "fell", ""
    if later:
        return "moved on", ""
    if pupa.emerged is not None:
        return "emerged", pupa.wings.condition if pupa.wings else ""
    if pupa.lost is not None:
        return "lost", ""
    return ("holds" if move.held else "hangs"), ""
