"""A second look at a pupa or an adult: the signs to look for at its stage, in one short window."""

from typing import ClassVar, NamedTuple

from textual import events, on
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import Input, Label, OptionList, Static
from textual.widgets.option_list import Option

from pupawatch.care import health
from pupawatch.errors import NotUnderstood
from pupawatch.keeper import Keeper
from pupawatch.keeper.drafts import Done
from pupawatch.model.adult_settings import Health
from pupawatch.model.codes import LookedAt
from pupawatch.model.pupa import Pupa
from pupawatch.model.text import quoted, shown, shown_lines
from pupawatch.tui.screens.dialogs import Choice, Field, Form, Pick, Window
from pupawatch.tui.screens.listing import ListScreen
from pupawatch.tui.widgets.lines import Choices


class Looked(NamedTuple):
    """What was seen: signs by name, and the keeper's own words."""

    signs: list[str]
    text: str


class Check(Window[Looked | None]):
    """The signs of one stage. A number (or space) ticks one, enter keeps what is ticked; nothing is a finding too."""

    BINDINGS: ClassVar[list[BindingType]] = [
        ("escape", "dismiss(None)", "Back"),
        ("space", "tick", "Tick"),
        ("tab", "app.focus_next", ""),
    ]

    def __init__(self, label: str, stage: LookedAt, words: Health) -> None:
        super().__init__()
        self.label = label
        self.stage = stage
        self.words = words
        self.signs = list(health.signs_at(stage, words))
        self.ticked: set[str] = set()

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog"):
            title = f"Look at {self.label} in good light ({self.stage}). Which of these do you see?"
            yield Label(shown(title), classes="title", markup=False)
            yield Choices(*(Option(self._line(number)) for number in range(len(self.signs))))
            yield Static("", id="means", markup=False)
            yield Input(placeholder="your own words (tab)", id="text", compact=True)
            yield Label(
                "a number ticks · enter records (none: nothing unusual) · esc goes back",
                classes="foot",
                markup=False,
            )

    def _line(self, number: int) -> Content:
        name = self.signs[number]
        box = "[x]" if name in self.ticked else "[ ]"
        key = str(number + 1) if number < 9 else " "
        return Content.assemble((f"{key} {box} ", "bold $text-accent"), shown(self.words.signs[name].words))

    @on(OptionList.OptionHighlighted)
    def explain(self, event: OptionList.OptionHighlighted) -> None:
        sign = self.words.signs[self.signs[event.option_index]]
        self.query_one("#means", Static).update(
            shown_lines(f"{sign.words}\nOften: {sign.means}. {sign.do}\n{self.words.disclaimer}")
        )

    def on_key(self, event: events.Key) -> None:
        number = event.character or ""
        if number.isdecimal() and 0 < int(number) <= len(self.signs) and not isinstance(self.focused, Input):
            event.stop()
            self.query_one(OptionList).highlighted = int(number) - 1
            self.action_tick()

    def action_tick(self) -> None:
        options = self.query_one(OptionList)
        if options.highlighted is not None:
            self.ticked ^= {self.signs[options.highlighted]}
            options.replace_option_prompt_at_index(options.highlighted, self._line(options.highlighted))

    @on(OptionList.OptionSelected)
    @on(Input.Submitted)
    def keep(self, event: OptionList.OptionSelected | Input.Submitted) -> None:
        event.stop()
        seen = [sign for sign in self.signs if sign in self.ticked]
        self.dismiss(Looked(seen, self.query_one("#text", Input).value))


def check(screen: ListScreen, pupa: Pupa) -> None:
    """Let the keeper look at one individual, write down what was seen, and propose what to set apart."""
    keeper = screen.keeper
    words = keeper.settings.health

    def looked(seen: Looked | None) -> None:
        if seen is None:
            return
        if "spores" in seen.signs:
            screen.app.push_screen(spores_form(keeper, pupa, seen), kept)
        elif (done := screen.attempt(lambda: keeper.adults.check_health(pupa, seen.signs, seen.text))) is not None:
            kept(done)

    def kept(done: Done | None) -> None:
        if done is not None:
            screen.kept(done)
            propose_quarantine(screen, keeper.pupa(pupa))

    stage = health.stage_of(pupa, keeper.clock(), keeper.settings)
    screen.app.push_screen(Check(pupa.label, stage, words), looked)


def propose_quarantine(screen: ListScreen, pupa: Pupa) -> None:
    """Offer to set a place apart where the findings ask for it and it is not yet."""
    keeper = screen.keeper
    proposal = health.proposal(pupa, keeper.state, keeper.settings)
    if proposal is None or keeper.settings.place(proposal.place).quarantined:
        return
    beside = ", ".join(other.label for other in proposal.beside) or "nothing"
    choices = [Choice(proposal.place, f"Yes, {proposal.place}")]
    if proposal.next_to:
        both = [proposal.place, *proposal.next_to]
        choices.append(
            Choice("\n".join(both), f"Yes, and the places next to it on the round: {', '.join(proposal.next_to)}")
        )
    choices.append(Choice("", "Not now"))

    def picked(answer: str | None) -> None:
        if answer:
            done = screen.attempt(lambda: keeper.places.quarantine(answer.split("\n"), True))
            if done is not None:
                screen.kept(done._replace(words=f"{done.words} Hang nothing new there until it is cleaned."))

    above = f"{proposal.why}. Beside it there: {beside}. {keeper.settings.health.disclaimer}"
    screen.app.push_screen(Pick(f"Quarantine {proposal.place}?", choices, above=above), picked)


def spores_form(keeper: Keeper, pupa: Pupa, seen: Looked) -> Form:
    """How many spores were counted; it may be left empty."""
    bands = ", ".join(f"{band.spores_from}: {band.words}" for band in keeper.settings.health.bands)

    def keep(values: dict[str, str]) -> Done:
        typed = values["spores"].strip()
        if typed and not (typed.isascii() and typed.isdigit() and len(typed) < 12):
            raise NotUnderstood(f"{quoted(typed)} is not a count; type a whole number, as in 45.")
        return keeper.adults.check_health(pupa, seen.signs, seen.text, int(typed) if typed else None)

    fields = [Field("spores", "Spores counted on the tape print", hint="a whole number; empty: not counted")]
    return Form(f"{pupa.label}: spores", fields, keep, above=f"Bands: {bands}")
