"""Hang a pupa elsewhere: the best place under the cursor, the steps and cautions of the method beside it."""

from collections.abc import Sequence
from typing import ClassVar

from textual.binding import BindingType
from textual.widgets import Static

from pupawatch.care.rescue import best_method
from pupawatch.care.risk import of_place
from pupawatch.care.round import Round, Standing
from pupawatch.model.places import hangs_in
from pupawatch.model.settings import Settings
from pupawatch.model.text import in_percent
from pupawatch.tui.screens.dialogs import Choice, Pick, way_words


class MoveTo(Pick):
    """Pick the place; tab changes the method."""

    BINDINGS: ClassVar[list[BindingType]] = [("tab", "method(1)", "Method"), ("shift+tab", "method(-1)", "")]

    def __init__(
        self, standing: Standing, morning: Round, settings: Settings, emergency: str, others: Sequence[str] = ()
    ) -> None:
        """others: the labels of those that go there with it."""
        self.settings = settings
        self.changed = False
        """Whether the keeper chose the method; else each goes by the one that its surface asks for."""
        self.methods = list(settings.care.methods)
        pupa = standing.pupa
        self.method = best_method(pupa, standing.stage, hangs_in(pupa, settings), settings)
        title = f"Move {standing.pupa.label} from {standing.pupa.place} to …"
        if others:
            title = f"Move {', '.join([standing.pupa.label, *others])} to …"
        if emergency:
            title += f"  (emergency: {emergency.replace('-', ' ')})"
        choices = places_to_move_to(standing, morning, settings)
        super().__init__(title, choices, below=self._steps())

    def foot(self) -> str:
        return "enter or a number moves it there · tab: another method · space reads on · esc goes back"

    def action_method(self, step: int) -> None:
        self.changed = True
        self.method = self.methods[(self.methods.index(self.method) + step) % len(self.methods)]
        self.query_one("#below", Static).update(self._steps())

    def _steps(self) -> str:
        method = self.settings.care.methods[self.method]
        return f"Method: {method.words}\n{way_words(method)}"


def places_to_move_to(standing: Standing, morning: Round, settings: Settings) -> Sequence[Choice]:
    """Every other place (and its own, where it should hang again) with its surface, the room left, and what speaks
    against it or the chance of a bad emergence there: the proposed one first, then in walking order. While nothing is
    decided yet, the best with room come first."""
    profile = settings.profile(standing.pupa.species)
    best = [standing.suggestion.place] if standing.suggestion else []
    if standing.decision is None:
        best = [goal.place for goal in standing.choice.candidate.goals if not morning.picture.place(goal.place).is_full]
    choices = []
    for stretch in morning.stretches:
        place = stretch.place
        if place.name == standing.pupa.place and place.name not in best:
            continue
        room = "no limit" if stretch.room is None else "full" if stretch.room == 0 else f"room {stretch.room}"
        faults = morning.picture.against(stretch.picture, profile, standing.is_sick)
        chance = of_place(place, profile, stretch.picture.record, settings)
        verdict = f"✗ {faults[0].split(':')[0]}" if faults else f"✓ safe, {in_percent(chance)} risk"
        choices.append(Choice(place.name, f"{place.name:<22} {place.surface:<9} {room:<9} {verdict}"))
    return sorted(choices, key=lambda choice: best.index(choice.answer) if choice.answer in best else len(best))
