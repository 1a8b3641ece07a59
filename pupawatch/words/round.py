"""The morning as a whole, in a line."""

from collections import Counter
from collections.abc import Sequence

from pupawatch.care.round import Round
from pupawatch.model.text import counted
from pupawatch.words.forecast import silence_words

_NEEDS_NOBODY = ("to watch", "soft", "prepupa", "prepupae")
"""Parts of the headline that ask for no hand."""


def headline(morning: Round) -> str:
    """The morning in one line of words."""
    told = _counts(morning)
    if not morning.standings and not told:
        return "No pupae in your care"
    living = sum(1 for s in morning.standings if s.pupa.is_living)
    calm = f"{counted(living, 'pupa', 'pupae')}, nothing urgent"
    return ", ".join(told) if told else calm


def brief(morning: Round, on_the_floor: Sequence[str]) -> str:
    """What needs somebody, in one line; "" where nothing does. on_the_floor: butterflies with soft wings."""
    told = [one for one in _counts(morning) if not one.endswith(_NEEDS_NOBODY)]
    fallen = [f"{', '.join(on_the_floor)} on the floor with soft wings"] if on_the_floor else []
    return ", ".join([*fallen, *told])


def _counts(morning: Round) -> list[str]:
    kinds = Counter(standing.verdict.kind for standing in morning.standings)
    moves = sum(1 for s in morning.standings if s.suggestion and s.verdict.kind in ("soon", "care", "free"))
    aids = sum(1 for s in morning.standings if s.wants_aid and s.verdict.kind in ("care", "free"))
    sick = sum(1 for s in morning.standings if s.is_sick)
    waiting = [s.pupa.is_prepupa for s in morning.standings if s.verdict.kind == "wait"]
    prepupae = sum(waiting)
    hot = sum(1 for stretch in morning.stretches if stretch.heat)
    told = [
        f"{count} {word}"
        for count, word in (
            (kinds["rescue"], "to rescue"),
            (kinds["none"], "case empty" if kinds["none"] == 1 else "cases empty"),
            (sick, "sick"),
            (kinds["leave"] + kinds["soon"], "to watch"),
            (moves, "to move"),
            (aids, "climbing aid" if aids == 1 else "climbing aids"),
            (len(waiting) - prepupae, "soft"),
            (prepupae, "prepupa" if prepupae == 1 else "prepupae"),
            (len(morning.to_judge), "to judge"),
            (sum(1 for s in morning.standings if s.is_stranded and not s.is_sick), "unsafe"),
            (hot, "temperature warning" if hot == 1 else "temperature warnings"),
        )
        if count
    ]
    known = morning.picture.known
    if silence := silence_words(known.loggers, morning.now, morning.picture.settings.zone):
        told.append(silence)
    return told


def to_visit_words(morning: Round) -> str:
    """How many places are still to visit, and which comes next."""
    left = morning.to_visit
    if not left:
        return "every place visited" if morning.stretches else "no places yet"
    return f"{len(left)} to visit: {left[0].name}{' …' if len(left) > 1 else ''}"
