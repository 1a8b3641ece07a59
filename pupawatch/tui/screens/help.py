"""The help: the keys as they are set, what the signs mean, and the cautions."""

from textual.content import Content

from pupawatch.model.acts import ROUND
from pupawatch.model.settings import Settings
from pupawatch.tui.acts import hanging, help_lines
from pupawatch.tui.look import ADVICE, HEAD

_VERDICTS = {
    "rescue": "it has fallen or is in danger: act now",
    "leave": "it is clear: hands off, give it a climbing aid",
    "soon": "darkening: move it today, and only from an unsafe place",
    "wait": "too soft, or still a prepupa: a move is refused",
    "care": "not firm yet: move it only from an unsafe place",
    "free": "firm: move it to a better place, or leave it alone",
    "none": "empty: find the butterfly, then record it as out or lost",
}
_MARKS = {
    "✓ □": "the place is visited this morning, or not yet",
    "!": "entries conflict, or look again; its story says what",
    "12–24 h": "it has hung at least 12 and at most 24 hours; ≥ 12 h: the upper end is not known",
    "– ": "a prepupa: a caterpillar hanging to pupate",
    "▄ 3!": "butterflies expected that day, and below it the range (4 in 5); ! the busiest days: be home",
}
_LAW = (
    "Keeping, moving, marking and releasing butterflies is regulated in places, and may need a permit. Your local "
    "rules, and people licensed for it, come before anything this program says."
)


def help_text(settings: Settings, columns: int) -> Content:
    """Everything on one page, so many columns wide."""
    care = settings.care
    lines = [Content.styled("KEYS", HEAD), *help_lines(ROUND, settings.keys, columns)]
    lines.append(
        hanging(
            "↑ ↓ enter", "arrows move; enter opens the whole story of what is selected; esc shows all again", columns
        )
    )
    lines.append(_title("What the signs mean"))
    lines += [
        hanging(f"{care.advice[kind].sign} {care.advice[kind].word}", meaning, columns, ADVICE[kind])
        for kind, meaning in _VERDICTS.items()
    ]
    sick = care.advice["sick"]
    lines.append(
        hanging(
            f"{sick.sign} {sick.word}",
            "signs of disease: hang nothing healthy beside it; see its story",
            columns,
            ADVICE["sick"],
        )
    )
    lines.append(hanging("stages", "   ".join(f"{stage.sign} {name}" for name, stage in care.stages.items()), columns))
    lines += [hanging(mark, meaning, columns) for mark, meaning in _MARKS.items()]
    lines.append(_title("Cautions"))
    told = [caution for advice in care.advice.values() for caution in advice.cautions]
    told += [caution for method in care.methods.values() for caution in method.cautions]
    lines += [Content.styled(f"! {caution}", "$text-warning") for caution in dict.fromkeys([*told, _LAW])]
    return Content("\n").join(lines)


def _title(words: str) -> Content:
    return Content.styled(f"\n{words.upper()}", HEAD)
