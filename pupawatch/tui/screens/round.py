"""The round: the first screen. A key acts at once on the selected pupa and moves on."""

from collections.abc import Callable, Sequence
from datetime import timedelta
from typing import ClassVar

from textual.binding import BindingType
from textual.widgets import Input

from pupawatch.care.hang import is_dark_once
from pupawatch.errors import PupawatchError
from pupawatch.keeper.drafts import Done
from pupawatch.model.codes import DarkStage
from pupawatch.model.pupa import Pupa
from pupawatch.tui.acts import bindings, first_key
from pupawatch.tui.screens.brood import brood_form
from pupawatch.tui.screens.dialogs import Choice, Field, Form, Pick
from pupawatch.tui.screens.new_pupa import new_pupa_form
from pupawatch.tui.screens.shelf_screen import VIEWS, ShelfScreen
from pupawatch.tui.widgets.shelf import Row
from pupawatch.words.pupae import dark_question

_JUST_WALKED = timedelta(minutes=10)


class RoundScreen(ShelfScreen):
    """The shelf with every act of the round."""

    BINDINGS: ClassVar[list[BindingType]] = bindings("round")

    def now_first(self) -> Sequence[str]:
        """What is likely the next act on the selected row, then the rest of the round."""
        row = self.shelf.row
        if row is None:
            return ("new", "places", "quit")
        if row.standing is None:
            return ("walked", "new", "next_urgent", "search", "plan", "places", "undo")
        pupa, kind = row.standing.pupa, row.standing.verdict.kind
        if not pupa.is_open:
            return ("wings", "note", "view", "undo")
        if pupa.is_prepupa:
            first = ("pupated", "danger", "lost")
        elif kind == "rescue":
            first = ("move", "aid", "holds")
        elif row.standing.look_again:
            first = ("holds", "fell", "move")
        elif kind in ("leave", "none"):
            first = ("emerged", "aid", "lost")
        elif kind == "soon":
            first = ("clear", "emerged", "move")
        elif kind == "wait":
            first = ("danger", "fell", "note")
        else:
            first = ("darkened", "move", "clear")
        rest = ("walked", "darkened", "move", "emerged", "new", "next_urgent", "undo", "search", "plan", "note")
        return list(dict.fromkeys([*first, *rest]))

    def act(self, do: Callable[[], Done], onward: bool = False, show: bool = False) -> None:
        """Do it, say what was done or why not, and go on to the next pupa in this place (or to what it is about)."""
        done = self.attempt(do)
        if done is None:
            return
        if onward:
            self._onward()
        self.after(done, show)

    def after(self, done: Done, show: bool = False) -> None:
        """Show the round after something was done, and say what."""
        self.refill()
        self.forecast_soon()
        if show and done.about:
            self.go_to(done.about)
        self.say(" · ".join([f"✓ {done.words}", *done.warnings]), "-warning" if done.warnings else "")

    def go_to(self, about: str) -> None:
        """Put the cursor on a pupa (by its id) or a place (by its name); where it is filtered away, show all again."""
        if not self._go_to(about):
            self.view, self.sought = VIEWS[0], ""
            self.query_one("#search", Input).value = ""
            self.refill()
            self._go_to(about)

    def _go_to(self, about: str) -> bool:
        return self.shelf.go_to(f"pupa:{about}") or self.shelf.go_to(f"place:{about}")

    def _onward(self) -> None:
        """To the next pupa, but never out of this place: it is the place one stands at that is walked next."""
        at, rows = self.shelf.highlighted, self.shelf.rows
        if at is not None and at + 1 < len(rows):
            here, ahead = rows[at], rows[at + 1]
            if ahead.standing and ahead.lifted == here.lifted:
                self.shelf.highlighted = at + 1

    def pupa(self) -> Pupa | None:
        """The selected pupa; says so where none is."""
        row = self.shelf.row
        if row is None or row.standing is None:
            self.say("Select a pupa first.", "-warning")
            return None
        return row.standing.pupa

    def about(self, do: Callable[[Pupa], Done], onward: bool = True) -> None:
        """Do something about the selected pupa."""
        pupa = self.pupa()
        if pupa is not None:
            self.act(lambda: do(pupa), onward)

    def pick(self, title: str, choices: dict[str, str], do: Callable[[Pupa, str], Done]) -> None:
        """Let the keeper pick one of a few for the selected pupa, then do it."""
        pupa = self.pupa()
        if pupa is None:
            return

        def picked(answer: str | None) -> None:
            if answer is not None:
                self.act(lambda: do(pupa, answer))

        self.app.push_screen(Pick(f"{title} {pupa.label}", _offered(choices)), picked)

    def action_walked(self) -> None:
        row = self.shelf.row
        if row is None:
            return
        # A lifted row stands outside its place: the keeper has not been there yet.
        if row.stretch is not None and not row.lifted:
            place, looked = row.stretch.place.name, row.stretch.looked
            if looked and self.keeper.clock() - looked < _JUST_WALKED:
                self.say(f"{place} is already visited.")
            else:
                self.act(lambda: self.keeper.places.looked([place]))
        for stretch in self.morning.stretches:
            if not stretch.walked and self.shelf.go_to(f"place:{stretch.place.name}"):
                self.shelf.scroll_to_highlight(top=True)
                return
        if not self.morning.to_visit:
            self.say("✓ The round is done: every place visited.")

    def action_darkened(self) -> None:
        self._saw_dark("darkening")

    def action_clear(self) -> None:
        self._saw_dark("clear")

    def _saw_dark(self, stage: DarkStage) -> None:
        """Record it; where a second sighting would free one that waits, ask first, as a key may be struck twice."""
        pupa, row = self.pupa(), self.shelf.row
        if pupa is None or row is None or row.standing is None:
            return
        profile = self.keeper.settings.profile(pupa.species)
        waits = row.standing.verdict.kind == "wait"
        if not (waits and is_dark_once(pupa, self.keeper.clock(), profile)):
            self.about(lambda pupa: self.keeper.pupae.saw(pupa, stage))
            return

        def answered(answer: str | None) -> None:
            if answer:
                self.act(lambda: self.keeper.pupae.saw(pupa, stage), onward=True)

        title, sure, unsure = dark_question(pupa, stage, profile)
        self.app.push_screen(Pick(title, [Choice("", unsure), Choice("yes", sure)]), answered)

    def action_emerged(self) -> None:
        def out(pupa: Pupa) -> Done:
            done = self.keeper.pupae.emerged(pupa)
            key = first_key(self.keeper.settings.keys, "watch")
            return done._replace(words=f"{done.words} Press {key} to follow it.")

        self.about(out, onward=False)

    def action_fell(self) -> None:
        self.about(lambda pupa: self.keeper.pupae.fell(pupa), onward=False)

    def action_holds(self) -> None:
        self.about(lambda pupa: self.keeper.moves.held(pupa, True))

    def action_aid(self) -> None:
        self.about(lambda pupa: self.keeper.moves.climb(pupa))

    def action_danger(self) -> None:
        self.pick("Which danger?", self.keeper.settings.care.emergencies, lambda p, why: self.keeper.pupae.fell(p, why))

    def action_stage(self) -> None:
        pupa = self.pupa()
        if pupa is not None:
            looks = self.keeper.settings.profile(pupa.species).looks
            self.pick("What does it look like:", looks, lambda p, stage: self.keeper.pupae.saw(p, stage))

    def action_wings(self) -> None:
        pupa = self.pupa()
        if pupa is not None and pupa.emerged is None:
            key = first_key(self.keeper.settings.keys, "emerged")
            self.say(f"✗ {pupa.label} has not emerged; press {key} when it has.", "-refused")
        elif pupa is not None:
            from pupawatch.tui.screens.butterflies import wings_dialog

            def judged(how: str | None) -> None:
                if how is not None:
                    self.act(lambda: self.keeper.pupae.wings(pupa, how))

            self.app.push_screen(wings_dialog(pupa, self.keeper.settings), judged)

    def action_lost(self) -> None:
        self.pick("Cause:", self.keeper.settings.care.losses, lambda p, why: self.keeper.pupae.lost(p, why))

    def action_pupated(self) -> None:
        pupa = self.pupa()
        if pupa is not None and not pupa.is_prepupa:
            self.say(f"✗ {pupa.label} is a pupa already.", "-refused")
            return
        self.about(lambda pupa: self.keeper.pupae.found(pupa))

    def action_note(self) -> None:
        pupa = self.pupa()
        if pupa is not None:
            form = Form(
                f"A note about {pupa.label}",
                [Field("text", "Note")],
                lambda values: self.keeper.pupae.note(pupa, values["text"]),
            )
            self.app.push_screen(form, self._kept)

    def action_relabel(self) -> None:
        pupa = self.pupa()
        if pupa is not None:
            form = Form(
                f"Another label for {pupa.label}",
                [Field("label", "Label", self.keeper.next_label(pupa.species))],
                lambda values: self.keeper.pupae.relabel(pupa, values["label"]),
            )
            self.app.push_screen(form, self._kept)

    def action_brood(self) -> None:
        pupa = self.pupa()
        if pupa is not None:
            self.app.push_screen(brood_form(self.keeper, pupa), self._kept)

    def action_move(self) -> None:
        row = self.shelf.row
        if self.pupa() is None or row is None or row.standing is None:
            return
        standing = row.standing
        if standing.verdict.kind == "none":
            self.say(f"✗ {standing.pupa.label} cannot be moved: {standing.verdict.why}.", "-refused")
        elif standing.verdict.kind == "wait":
            self._refused_move(row)
        else:
            self._move_to(row, standing.pupa.danger)

    def _refused_move(self, row: Row) -> None:
        """Say why not and from when; only a named emergency leads on."""
        assert row.standing is not None
        pupa = row.standing.pupa
        try:
            self.keeper.moves.may_move(pupa)
        except PupawatchError as error:
            why = str(error)
        else:
            self._move_to(row, "")
            return

        def picked(answer: str | None) -> None:
            if answer:
                self._move_to(row, answer)
            else:
                self.say(f"{pupa.label} stays where it is.")

        care = self.keeper.settings.care
        offered = [Choice("", "Leave it where it is"), *_offered(care.emergencies)]
        above = "\n".join([why, *(f"⚠ {caution}" for caution in care.advice["wait"].cautions)])
        self.app.push_screen(Pick(f"{pupa.label} must not be moved. Is it in danger?", offered, above=above), picked)

    def _move_to(self, row: Row, emergency: str) -> None:
        from pupawatch.tui.screens.move import MoveTo

        assert row.standing is not None
        pupa = row.standing.pupa
        dialog = MoveTo(row.standing, self.morning, self.keeper.settings, emergency)
        if not dialog.choices:
            key = first_key(self.keeper.settings.keys, "places")
            self.say(f"There is no other place yet; press {key} to describe one.", "-warning")
            return

        def picked(to: str | None) -> None:
            if to is not None:
                self.act(lambda: self.keeper.moves.move(pupa, to, dialog.method, emergency), onward=True)

        self.app.push_screen(dialog, picked)

    def action_new(self) -> None:
        if not self.keeper.round_places():
            from pupawatch.tui.screens.places import place_form

            self.app.push_screen(place_form(self.keeper, None), self._first_place)
            return
        row = self.shelf.row
        stretch = row.stretch if row and row.stretch and not row.lifted else self.morning.stretches[0]
        self.app.push_screen(new_pupa_form(self.keeper, stretch), self._kept)

    def _first_place(self, done: Done | None) -> None:
        self._kept(done)
        if done:
            self.action_new()

    def _kept(self, done: Done | None) -> None:
        if done:
            self.after(done, show=True)
        else:
            self.refill()

    def after_undo(self, done: Done) -> None:
        self.after(done, show=True)


def _offered(choices: dict[str, str]) -> list[Choice]:
    return [Choice(answer, f"{answer.replace('-', ' '):<16} {words}") for answer, words in choices.items()]
