"""Health: a second look at the selected one, what is set apart, and the cleaning log, place by place."""

from typing import ClassVar

from textual.binding import BindingType
from textual.content import Content

from pupawatch.care import health
from pupawatch.keeper import Keeper
from pupawatch.model.entries import Cleaned
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Place
from pupawatch.model.text import shown
from pupawatch.model.times import shown_time
from pupawatch.tui.acts import bindings
from pupawatch.tui.look import ADVICE
from pupawatch.tui.screens.check import check
from pupawatch.tui.screens.dialogs import Choice, Pick
from pupawatch.tui.screens.listing import Item, ListScreen
from pupawatch.words.entries import entry_words
from pupawatch.words.health import conclusion, recipe


class HealthScreen(ListScreen):
    """The first line is the individual that was selected; below it stand the places."""

    SCREEN = "health"
    BINDINGS: ClassVar[list[BindingType]] = bindings(SCREEN)

    def __init__(self, keeper: Keeper, pupa: Pupa | None) -> None:
        super().__init__(keeper)
        self.individual = pupa
        self.cleanings: dict[str, Cleaned] = {}

    def items(self) -> list[Item]:
        self.cleanings = {}
        for entry in self.keeper.places.cleanings():
            self.cleanings.setdefault(entry.place, entry)
        places = [self.keeper.settings.place(name) for name in self.keeper.round_places()]
        return [*self._check_item(), *(self._place_item(place) for place in places)]

    def headline(self) -> str:
        apart = [place.name for place in self.keeper.settings.places if place.quarantined]
        return f"Health: in quarantine {', '.join(apart)}" if apart else "Health: nothing in quarantine"

    def tell(self, item: Item | None) -> Content:
        words = self.keeper.settings.health
        if item is None:
            return Content(words.disclaimer)
        lines: list[str] = []
        if isinstance(item.about, Pupa):
            pupa = self.keeper.pupa(item.about)
            lines += [words.disclaimer] if not pupa.findings else conclusion([f.sign for f in pupa.findings], words)
        elif isinstance(item.about, Place):
            lines += [self._found_at(item.about.name) or "No finding here.", *(f"! {c}" for c in words.cautions)]
            lines += [f"{c.words}: {recipe(c)}" for c in words.cleanings.values()]
        return Content("\n").join(Content(shown(line)) for line in lines)

    def open(self, item: Item) -> None:
        """Enter: look at the individual in the first line."""
        if isinstance(item.about, Pupa):
            self.action_check()

    def action_check(self) -> None:
        if self.individual is None:
            self.say("First select a pupa or butterfly on the previous screen.", "-warning")
        else:
            check(self, self.keeper.pupa(self.individual))

    def _check_item(self) -> list[Item]:
        if self.individual is None:
            return []
        pupa = self.keeper.pupa(self.individual)
        stage = health.stage_of(pupa, self.keeper.clock(), self.keeper.settings)
        found = "; ".join(entry_words(finding) for finding in pupa.findings[-2:]) or "never checked"
        line = Content.assemble((f" Check {shown(pupa.label)} ", "bold"), f"({stage})  {shown(found)}")
        return [Item("check", line, pupa)]

    def _place_item(self, place: Place) -> Item:
        settings, now = self.keeper.settings, self.keeper.clock()
        last = self.cleanings.get(place.name)
        when = f"cleaned {shown_time(last.happened, settings.zone, now)}" if last else "no cleaning recorded"
        if last and not health.cleaned_enough(last, settings.health):
            when += " (too short)"
        found = self._found_at(place.name)
        line = Content.assemble(
            (" ✗ QUARANTINE " if place.quarantined else f"{'':14}", ADVICE["sick"]),
            f"{shown(place.name):<24} {when:<26} ",
            (shown(found), ADVICE["sick"]),
        )
        return Item(f"place:{place.name}", line, place)

    def _found_at(self, place: str) -> str:
        """The findings that ask to set this place apart, in words."""
        words = self.keeper.settings.health
        here = [pupa for pupa in self.keeper.state.pupae.values() if pupa.place == place]
        found = {pupa.label: health.concerns(pupa, words) for pupa in here}
        return "; ".join(f"{label}: {entry_words(some[-1])}" for label, some in found.items() if some)

    def _place(self) -> Place | None:
        about = self.item.about if self.item else None
        if isinstance(about, Place):
            return about
        if isinstance(about, Pupa):
            return self.keeper.settings.place(self.keeper.pupa(about).place)
        return None

    def action_quarantine(self) -> None:
        place = self._place()
        if place is None:
            return
        self.act(lambda: self.keeper.places.quarantine([place.name], not place.quarantined))

    def action_cleaned(self) -> None:
        place = self._place()
        if place is None:
            return
        words = self.keeper.settings.health
        choices = [Choice(name, f"{name:<8} {recipe(c)}") for name, c in words.cleanings.items()]
        steps = [f"{c.words}. {' '.join(c.steps)}" for c in words.cleanings.values()]
        below = "\n".join([*(f"! {caution}" for caution in words.cautions), *steps])

        def picked(answer: str | None) -> None:
            if answer:
                self.act(lambda: self.keeper.places.cleaned(place.name, answer))

        self.app.push_screen(Pick(f"{place.name} was cleaned; the mix stood:", choices, below=below), picked)
