"""What can be done about a living adult; the watch and the list of adults share these acts and their keys."""

from collections.abc import Iterator, Sequence
from datetime import datetime

from textual.content import Content

from pupawatch.care import adults
from pupawatch.care.adults import Butterfly, Weather
from pupawatch.care.forecast.heat import Newest
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings
from pupawatch.model.text import shown
from pupawatch.model.times import shown_time
from pupawatch.tui.acts import first_key
from pupawatch.tui.look import ADVICE, CALM, HEAD
from pupawatch.tui.screens.check import check
from pupawatch.tui.screens.dialogs import Choice, Pick
from pupawatch.tui.screens.listing import Item, ListScreen
from pupawatch.tui.screens.marking import kept_form, mark_form, release_form
from pupawatch.words.adults import PHASE_WORDS, advice_words, age_words
from pupawatch.words.entries import entry_time, entry_words

STYLES = {
    "floor": ADVICE["rescue"],
    "expanding": ADVICE["leave"],
    "drying": ADVICE["leave"],
    "judge": ADVICE["soon"],
    "flightless": ADVICE["sick"],
    "kept": CALM,
    "ready": "bold $advice-free",
    "mark": ADVICE["free"],
    "handle": ADVICE["care"],
    "resting": ADVICE["wait"],
}


WORDS = {"floor": "bold"}
"""What is said beside a filled badge is bold and not filled."""
_ENDS = {"died": "the butterfly is dead", "gone": "it is gone from where it dried; nobody released it"}
_NOW = {
    "floor": ("helped", "climbed"),
    "expanding": ("wings", "fell"),
    "drying": ("fell", "wings"),
    "judge": ("wings", "sex"),
    "flightless": ("release", "wings"),
    "mark": ("mark", "sex"),
    "ready": ("mark", "release"),
    "handle": ("sex", "check"),
}
"""The acts that matter at each phase."""
_URGENT = ("floor", "judge", "flightless", "ready")


class ButterflyScreen(ListScreen):
    """A list in which butterflies stand, and the acts on the selected one."""

    weather = Weather()
    newest: Newest | None = None
    release_place = ""

    def refill(self) -> None:
        """As every list, with the newest temperature that was recorded."""
        self.newest = self.keeper.adults.newest_c()
        super().refill()

    @property
    def butterfly(self) -> Butterfly | None:
        """The selected butterfly; says so where none is selected."""
        about = self.item.about if self.item else None
        if isinstance(about, Butterfly):
            return about
        self.say("Select a butterfly first.", "-warning")
        return None

    def urgent(self, item: Item) -> bool:
        """Whether the keeper can do something about it now."""
        return isinstance(item.about, Butterfly) and item.about.phase in _URGENT

    def action_next_urgent(self) -> None:
        urgent, here = [item.key for item in self.listed if self.urgent(item)], self.item.key if self.item else ""
        if not urgent:
            self.say("Nothing here needs you now.")
        else:
            self.go_to(urgent[(urgent.index(here) + 1) % len(urgent)] if here in urgent else urgent[0])

    def now_first(self) -> Sequence[str]:
        """What the selected butterfly waits for, then the rest."""
        about = self.item.about if self.item else None
        first = _NOW.get(about.phase, ()) if isinstance(about, Butterfly) else ()
        return list(dict.fromkeys([*first, "next_urgent", *super().now_first()]))

    def legend(self) -> list[Content]:
        return [
            Content.assemble((f"{sign} {word:<9}", STYLES[phase]), meaning)
            for phase, (sign, word, meaning) in PHASE_WORDS.items()
        ]

    def _seen(self, what: str) -> None:
        if (selected := self.butterfly) is not None:
            self.act(lambda: self.keeper.adults.seen(selected.pupa, what))

    def action_fell(self) -> None:
        self._seen("fell")

    def action_climbed(self) -> None:
        self._seen("climbed")

    def action_helped(self) -> None:
        self._seen("helped")

    def action_lost(self) -> None:
        """It died: asked first, as no key should end a life by a slip."""
        if (selected := self.butterfly) is not None:
            pupa = selected.pupa

            def answered(what: str | None) -> None:
                if what:
                    self.act(lambda: self.keeper.adults.seen(pupa, what))

            choices = [Choice(what, f"{what:<7} {words}") for what, words in _ENDS.items()]
            self.app.push_screen(Pick(f"What became of {pupa.label}?", choices), answered)

    def action_wings(self) -> None:
        """The wings are full; where that is said already, or the time of it long over, they are judged."""
        if (selected := self.butterfly) is not None:
            if selected.pupa.wings_full is None and self.keeper.clock() < selected.clocks.hard.until:
                self.act(lambda: self.keeper.adults.seen(selected.pupa, "full"))
            else:
                self.action_judge()

    def action_judge(self) -> None:
        if (selected := self.butterfly) is not None:

            def picked(answer: str | None) -> None:
                if answer:
                    self.act(lambda: self.keeper.pupae.wings(selected.pupa, answer))

            self.app.push_screen(wings_dialog(selected.pupa, self.keeper.settings), picked)

    def action_sex(self) -> None:
        if (selected := self.butterfly) is not None:
            sexes = self.keeper.settings.profile(selected.pupa.species).adult.sexes
            choices = [Choice(sex, f"{sex:<7} {words}") for sex, words in sexes.items()]

            def picked(answer: str | None) -> None:
                if answer:
                    self.act(lambda: self.keeper.adults.sexed(selected.pupa, answer))

            self.app.push_screen(Pick(f"The sex of {selected.pupa.label}", choices), picked)

    def action_mark(self) -> None:
        selected = self.butterfly
        if selected is None:
            return
        from_then, now = selected.clocks.mark_from, self.keeper.clock()
        if now < from_then:
            told = shown_time(from_then, self.keeper.settings.zone, now)
            self.say(f"✗ {selected.pupa.label} may be marked from {told}, not before.", "-refused")
        else:
            self.app.push_screen(mark_form(self.keeper, selected.pupa), self.kept)

    def action_release(self) -> None:
        selected = self.butterfly
        if selected is None:
            return
        if adults.cannot_fly(selected.pupa, self.keeper.settings):
            self.app.push_screen(kept_form(self.keeper, selected.pupa), self.kept)
            return

        def remember(place: str, weather: Weather) -> None:
            self.release_place, self.weather = place, weather

        form = release_form(self.keeper, selected.pupa, self.release_place, self.weather, remember)
        self.app.push_screen(form, self.kept)

    def action_check(self) -> None:
        if (selected := self.butterfly) is not None:
            check(self, selected.pupa)

    def butterfly_item(self, butterfly: Butterfly, columns: str) -> Item:
        """The line of a butterfly. columns: what stands between how long it is out and what to do."""
        sign, word, _ = PHASE_WORDS[butterfly.phase]
        line = Content.assemble(
            (f" {sign} {word:<10}", STYLES[butterfly.phase]),
            (f"{shown(butterfly.pupa.label):<7}", "bold" if butterfly.phase in ("floor", "expanding", "judge") else ""),
            f"{age_words(butterfly.pupa, self.keeper.clock()):>13}  {shown(columns)} ",
            (shown(butterfly.do), WORDS.get(butterfly.phase, STYLES[butterfly.phase])),
        )
        return Item(butterfly.pupa.id, line, butterfly)

    def butterfly_story(self, butterfly: Butterfly) -> Content:
        """What is to be told of a butterfly: what to do, its clocks, and whether to let it fly now."""
        return Content("\n").join([*self._urgent(butterfly), *self._clocks(butterfly), *self._known(butterfly)])

    def _urgent(self, butterfly: Butterfly) -> Iterator[Content]:
        care, pupa, now = self.keeper.settings.care, butterfly.pupa, self.keeper.clock()
        sign, word, _ = PHASE_WORDS[butterfly.phase]
        yield Content.assemble(
            (f"{sign} {word} ", STYLES[butterfly.phase]), (f"{shown(pupa.label)}: {butterfly.do}", "bold")
        )
        if butterfly.alarm:
            for number, step in enumerate(care.floor.steps, start=1):
                yield Content.styled(f"{number}. {step}", "bold")
            helped, climbed = (first_key(self.keeper.settings.keys, act) for act in ("helped", "climbed"))
            for caution in care.floor.cautions:
                yield Content.styled(f"! {caution} Then press {helped} (or {climbed}, if it climbed).", "$text-warning")
        if butterfly.phase in ("mark", "ready"):
            advice = adults.release_advice(pupa, now, self.weather._replace(newest=self.newest), self.keeper.settings)
            yield Content.styled(advice_words(advice, self.keeper.settings.zone, now), "bold")
            yield Content.styled(f"! {care.release.cautions[0]}", "$text-warning")

    def _clocks(self, butterfly: Butterfly) -> Iterator[Content]:
        pupa, clocks, zone, now = butterfly.pupa, butterfly.clocks, self.keeper.settings.zone, self.keeper.clock()
        assert pupa.emerged is not None

        def at(moment: datetime) -> str:
            return shown_time(moment, zone, now)

        name = self.keeper.settings.profile(pupa.species).name
        yield Content(f"{name} in {shown(pupa.place)}, out {entry_time(pupa.emerged, zone, now)}")
        if now < clocks.hard.until:
            full, hard = at(clocks.wings_full.until), at(clocks.hard.until)
            hang = f"hang by {at(clocks.hang_by)}" if now < clocks.hang_by else "must hang free"
            yield Content(f"{hang} · wings full by {full} · hard by {hard}")
        ready = max(clocks.judge_from, clocks.handle_from)
        yield Content(
            f"judge, handle from {at(ready)} · mark from {at(clocks.mark_from)} · "
            f"release from {at(adults.within_hours(clocks.release_from, self.keeper.settings))}"
        )

    def _known(self, butterfly: Butterfly) -> Iterator[Content]:
        pupa, settings, now = butterfly.pupa, self.keeper.settings, self.keeper.clock()
        if pupa.wings:
            recovered = "; it fell and recovered" if adults.recovered(pupa, settings) else ""
            words = settings.care.wings.get(pupa.wings.condition, "")
            yield Content(f"wings {pupa.wings.condition}: {words}{recovered}")
        if not pupa.sex:
            for sex, words in settings.profile(pupa.species).adult.sexes.items():
                yield Content(f"{sex}: {words}")
        yield Content.styled("RECORDED", HEAD)
        for entry in reversed(pupa.entries):
            yield Content.assemble(
                (f"{entry_time(entry, settings.zone, now):<16} ", "$text-muted"),
                shown(entry_words(entry, settings.unit)),
            )


def wings_dialog(pupa: Pupa, settings: Settings) -> Pick:
    """Judge the wings: each condition in words, which count as deformed, and which do not carry."""
    choices = [Choice(name, f"{name:<11} {words}") for name, words in settings.care.wings.items()]
    deformed, grounded = ", ".join(settings.care.review.deformed), ", ".join(settings.care.cannot_fly)
    below = f"Counted as deformed: {deformed}. Kept because they cannot fly: {grounded}. (care.toml)"
    return Pick(f"The wings of {pupa.label}", choices, below=below)
