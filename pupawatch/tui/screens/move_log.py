"""The move log: every move so far, and how each ended."""

from contextlib import closing
from typing import ClassVar

from textual.binding import BindingType
from textual.content import Content

from pupawatch.care.moves import PastMove, only, past_moves
from pupawatch.keeper import Keeper
from pupawatch.model.pupa import Pupa
from pupawatch.model.text import shown
from pupawatch.tui.acts import bindings
from pupawatch.tui.beside import beside
from pupawatch.tui.screens.dialogs import Choice, Pick
from pupawatch.tui.screens.listing import Item, ListScreen
from pupawatch.words.entries import entry_time
from pupawatch.words.hours import hang_words
from pupawatch.words.methods import how_words
from pupawatch.words.moves import past_move_line, way_words


class MoveLogScreen(ListScreen):
    """The newest move first. Letters narrow it down; what holds is recorded here."""

    SCREEN = "move_log"
    BINDINGS: ClassVar[list[BindingType]] = bindings(SCREEN)

    def __init__(self, keeper: Keeper, pupa: Pupa | None = None) -> None:
        """pupa: the cursor begins on its newest move."""
        super().__init__(keeper)
        self._begin_at = pupa
        self.moves: list[PastMove] | None = None
        self.place = self.method = ""
        self.early = self.emergency = False
        self._read_to = -1
        self.failed = False

    def refill(self) -> None:
        """Show the moves; read the journal anew where it has grown."""
        super().refill()
        last = self.keeper.last()
        if last != self._read_to:
            self._read_to = last
            self.read()

    @beside("moves", "reading the moves")
    def read(self) -> None:
        """Read every season, on a connection of its own."""
        mine = self.keeper
        with closing(mine.elsewhere()) as own:
            state = own.whole_state()
        self.app.call_from_thread(self.came, past_moves(state.pupae.values(), mine.settings))

    def came(self, moves: list[PastMove]) -> None:
        """Show moves that were read."""
        if self.is_attached:
            self.moves, self.failed = moves, False
            super().refill()
            begin, self._begin_at = self._begin_at, None
            if begin is not None:
                mine = [one.move.entry.id for one in moves if one.pupa.id == begin.id]
                self.go_to(next((item.key for item in self.listed if item.key in mine), ""))

    def gave_up(self, group: str) -> None:
        """Say that the moves which stand there, if any, are not all."""
        self.failed = True
        super().refill()

    def items(self) -> list[Item]:
        zone, now = self.keeper.settings.zone, self.keeper.clock()
        found = only(self.moves or [], self.place, self.method, self.early, self.emergency)
        return [
            Item(
                one.move.entry.id,
                Content.assemble((f" {entry_time(one.move.entry, zone, now):<17} ", "$text-muted"),
                                 shown(past_move_line(one))),
                one,
            )
            for one in found
        ]  # fmt: skip

    def headline(self) -> str:
        if self.failed:
            return "Moves: could not be read" + ("; this is what was read before" if self.moves else "")
        if self.moves is None:
            return "Moves: reading …"
        asked = [
            self.place,
            how_words(self.method),
            "too early" if self.early else "",
            "emergencies" if self.emergency else "",
        ]
        told = ", ".join(word for word in asked if word)
        return f"Moves: {len(self.listed)} of {len(self.moves)}{f' ({told})' if told else ''}"

    def tell(self, item: Item | None) -> Content:
        if item is None or not isinstance(item.about, PastMove):
            return Content("No moves yet, or none matches.")
        one, entry = item.about, item.about.move.entry
        held = {True: "yes", False: "no", None: "not recorded"}[one.move.held]
        lines = [
            f"{one.pupa.label}: {way_words(one)}{f', {how_words(entry.method)}' if entry.method else ''}.",
            f"It had hung {hang_words(one.hang)}, {one.stage}; {_advised(self.keeper, entry.advice)}.",
            f"Why: {entry.reason or entry.emergency.replace('-', ' ') or 'not recorded'}.",
            f"Held: {held}. Now: {one.ended}{f', wings {one.wings}' if one.wings else ''}.",
        ]
        return Content("\n").join(Content(shown(line)) for line in lines)

    def action_holds(self) -> None:
        self._held(True)

    def action_came_down(self) -> None:
        self._held(False)

    def _held(self, held: bool) -> None:
        one = self.item.about if self.item is not None else None
        if not isinstance(one, PastMove):
            return
        if one.move != one.pupa.relocations[-1]:
            self.say(f"✗ {one.pupa.label} was moved again since; record that for its newest move.", "-refused")
        else:
            self.act(lambda: self.keeper.moves.held(one.pupa, held))

    def action_by_place(self) -> None:
        names = {name: None for one in self.moves or [] for name in (one.move.origin, one.move.entry.to) if name}
        self._pick("Moves from or to", list(names), "place")

    def action_by_method(self) -> None:
        self._pick("Moves by", list(self.keeper.settings.care.methods), "method")

    def action_early(self) -> None:
        self.early = not self.early
        self.refill()

    def action_emergencies(self) -> None:
        self.emergency = not self.emergency
        self.refill()

    def _pick(self, title: str, names: list[str], what: str) -> None:
        def picked(answer: str | None) -> None:
            if answer is not None:
                setattr(self, what, answer)
                self.refill()

        self.app.push_screen(Pick(title, [Choice("", "all of them"), *(Choice(n, n) for n in names)]), picked)


def _advised(keeper: Keeper, code: str) -> str:
    """What the move rule advised when the move was recorded; the code of a verdict is shown as its word."""
    advice = keeper.settings.care.advice.get(code)
    return f"advice then: {advice.word if advice else code}" if code else "no advice recorded"
