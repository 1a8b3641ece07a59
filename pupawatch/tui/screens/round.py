"""The round: the first screen. A key acts at once on the selected pupa and moves on."""

from collections.abc import Callable, Sequence
from datetime import timedelta
from functools import partial
from typing import ClassVar

from textual.binding import BindingType
from textual.widgets import Input

from pupawatch.care.hang import is_dark_once
from pupawatch.care.rescue import best_method
from pupawatch.care.round import Standing
from pupawatch.errors import NotUnderstood, PupawatchError, Refused
from pupawatch.keeper.drafts import Done
from pupawatch.model.codes import DarkStage
from pupawatch.model.places import hangs_in
from pupawatch.model.pupa import Pupa
from pupawatch.model.text import some_names
from pupawatch.tui.acts import bindings, first_key
from pupawatch.tui.screens.brood import brood_form
from pupawatch.tui.screens.dialogs import Choice, Field, Form, Pick
from pupawatch.tui.screens.new_pupa import new_pupa_form
from pupawatch.tui.screens.shelf_screen import ORDERS, VIEWS, ShelfScreen
from pupawatch.tui.widgets.shelf import Row
from pupawatch.words.pupae import dark_question

_JUST_WALKED = timedelta(minutes=10)
_REST: tuple[str, ...] = (
    "walked", "darkened", "move", "emerged", "new", "next_urgent", "undo", "choose", "search", "plan", "note",
)  # fmt: skip
"""The acts at the foot after those that the selected pupa asks for."""
_NAMED = 6
"""So many labels are named in a title."""


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
        if self.chosen:
            return ("darkened", "clear", "emerged", "move", "holds", "aid", "stage", "choose", "note", "undo")
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
        rest = _REST
        if pupa.is_prepupa or kind == "wait":  # these would be a slip of the hand, or refused
            rest = tuple(act for act in rest if act not in ("darkened", "move", "emerged"))
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
            self.view, self.sought, self.order = VIEWS[0], "", ORDERS[0]
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

    def whom(self) -> list[Pupa]:
        """The chosen pupae in the order of the list, or the selected one; says so where there is none."""
        if self.chosen:
            return [row.standing.pupa for row in self.shelf.rows if row.standing and row.pupa_id in self.chosen]
        pupa = self.pupa()
        return [] if pupa is None else [pupa]

    def about(self, what: str, do: Callable[[Pupa], Done], onward: bool = True) -> None:
        """Do something about the selected pupa, or all that are chosen. what: it in words."""
        self.about_these(self.whom(), what, do, onward)

    def about_these(self, whom: list[Pupa], what: str, do: Callable[[Pupa], Done], onward: bool = True) -> None:
        """Do something about these pupae: about several as one act, and say who was left out and why."""
        if not self.chosen and len(whom) < 2:
            for pupa in whom:
                self.act(partial(do, pupa), onward)
            return

        def together() -> Done:
            told = self.keeper.together([partial(do, pupa) for pupa in whom])
            about = {one.about for one in told.done}
            labels = ", ".join(pupa.label for pupa in whom if pupa.id in about)
            return told.as_one(f"{what}: {labels}." if labels else "Nothing was recorded.")

        if (told := self.attempt(together)) is not None:
            after = self._after(whom)
            self.chosen = set()
            self.after(told)
            self.shelf.go_to(after)

    def _after(self, whom: list[Pupa]) -> str:
        """The key of the row that follows the last of these in its place, else of that last one."""
        rows, keys = self.shelf.rows, [f"pupa:{pupa.id}" for pupa in whom]
        last = max((at for at, row in enumerate(rows) if row.key in keys), default=0)
        follows = rows[last + 1] if last + 1 < len(rows) else None
        goes_on = follows and follows.standing and follows.lifted == rows[last].lifted
        return follows.key if follows and goes_on else rows[last].key

    def pick(self, what: str, title: str, choices: dict[str, str], do: Callable[[Pupa, str], Done]) -> None:
        """Let the keeper pick one of a few for the selected pupa or those chosen, then do it. what: it in a word."""
        if not (whom := self.whom()):
            return

        def picked(answer: str | None) -> None:
            if answer is not None:
                self.about_these(
                    whom, f"{what}, {answer.replace('-', ' ')}", lambda pupa: do(pupa, answer), onward=False
                )

        self.app.push_screen(Pick(f"{title} {_named(whom)}", _offered(choices)), picked)

    def action_walked(self) -> None:
        row = self.shelf.row
        if row is None:
            return
        if self.order != ORDERS[0]:  # the places are walked where they can be seen
            self.order = ORDERS[0]
            self.refill()
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
        row = self.shelf.row
        if self.chosen or row is None or row.standing is None or not self._frees(row.standing):
            self.about(stage.capitalize(), lambda pupa: self._seen_dark(pupa, stage))
            return
        pupa = row.standing.pupa
        profile = self.keeper.settings.profile(pupa.species)

        def answered(answer: str | None) -> None:
            if answer:
                self.act(lambda: self.keeper.pupae.saw(pupa, stage), onward=True)

        title, sure, unsure = dark_question(pupa, stage, profile)
        self.app.push_screen(Pick(title, [Choice("", unsure), Choice("yes", sure)]), answered)

    def _frees(self, standing: Standing) -> bool:
        """Whether one more dark stage would free one that still waits."""
        profile = self.keeper.settings.profile(standing.pupa.species)
        return standing.verdict.kind == "wait" and is_dark_once(standing.pupa, self.keeper.clock(), profile)

    def _seen_dark(self, pupa: Pupa, stage: DarkStage) -> Done:
        """Record it for one of those chosen, but for one about which the keeper would be asked."""
        mine = next((one for one in self.morning.standings if one.pupa.id == pupa.id), None)
        if self.chosen and mine is not None and self._frees(mine):
            raise Refused(f"{pupa.label} waits, and a second dark stage would free it: record it by itself.")
        return self.keeper.pupae.saw(pupa, stage)

    def action_emerged(self) -> None:
        def out(pupa: Pupa) -> Done:
            done = self.keeper.pupae.emerged(pupa)
            key = first_key(self.keeper.settings.keys, "watch")
            return done._replace(words=f"{done.words} Press {key} to follow it.")

        self.about("Out", out, onward=False)

    def action_fell(self) -> None:
        self.about("Fell", lambda pupa: self.keeper.pupae.fell(pupa), onward=False)

    def action_holds(self) -> None:
        self.about("Holds", lambda pupa: self.keeper.moves.held(pupa, True))

    def action_aid(self) -> None:
        self.about("Climbing aid", lambda pupa: self.keeper.moves.climb(pupa))

    def action_danger(self) -> None:
        self.pick(
            "In danger",
            "Which danger?",
            self.keeper.settings.care.emergencies,
            lambda p, why: self.keeper.pupae.fell(p, why),
        )

    def action_stage(self) -> None:
        if whom := self.whom():
            looks = self.keeper.settings.profile(whom[0].species).looks
            self.pick("Stage", "Colour stage of", looks, lambda p, stage: self.keeper.pupae.saw(p, stage))

    def action_wings(self) -> None:
        whom = self.whom()
        if inside := [pupa.label for pupa in whom if pupa.emerged is None]:
            key = first_key(self.keeper.settings.keys, "emerged")
            have = "has" if len(inside) == 1 else "have"
            self.say(f"✗ {', '.join(inside)} {have} not emerged; press {key} when it has.", "-refused")
        elif whom:
            from pupawatch.tui.screens.butterflies import wings_dialog

            def judged(how: str | None) -> None:
                if how is not None:
                    self.about_these(
                        whom, f"Wings {how}", lambda pupa: self.keeper.pupae.wings(pupa, how), onward=False
                    )

            self.app.push_screen(wings_dialog(whom[0], self.keeper.settings), judged)

    def action_lost(self) -> None:
        self.pick("Lost", "Cause:", self.keeper.settings.care.losses, lambda p, why: self.keeper.pupae.lost(p, why))

    def action_pupated(self) -> None:
        def pupated(pupa: Pupa) -> Done:
            if not pupa.is_prepupa:
                raise NotUnderstood(f"{pupa.label} is a pupa already.")
            return self.keeper.pupae.found(pupa)

        self.about("Pupated", pupated)

    def action_note(self) -> None:
        if whom := self.whom():

            def keep(values: dict[str, str]) -> Done:
                noted = self.keeper.together(
                    [partial(self.keeper.pupae.note, one, values["text"]) for one in whom], True
                )
                return noted.as_one(f"Noted for {_named(whom)}.")

            self.app.push_screen(Form(f"A note about {_named(whom)}", [Field("text", "Note")], keep), self._kept)

    def action_relabel(self) -> None:
        if len(whom := self.whom()) > 1:
            self.say("✗ A label is for one pupa alone; esc lets those chosen go.", "-refused")
        elif whom:
            form = Form(
                f"Another label for {whom[0].label}",
                [Field("label", "Label", self.keeper.next_label(whom[0].species))],
                lambda values: self.keeper.pupae.relabel(whom[0], values["label"]),
            )
            self.app.push_screen(form, self._kept)

    def action_brood(self) -> None:
        if whom := self.whom():
            self.app.push_screen(brood_form(self.keeper, whom), self._kept)

    def action_move(self) -> None:
        if self.chosen:
            self._move_chosen()
            return
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

    def _move_chosen(self) -> None:
        """Move those that may be moved to one place, each by the method its surface asks for; the rest is told."""
        from pupawatch.tui.screens.move import MoveTo

        mine = [row.standing for row in self.shelf.rows if row.standing and row.pupa_id in self.chosen]
        may = [one for one in mine if one.verdict.kind not in ("none", "wait")]
        if not may:
            self.say("✗ None of those chosen may be moved now; choose one by itself to see why.", "-refused")
            return
        settings = self.keeper.settings
        dialog = MoveTo(may[0], self.morning, settings, "", [one.pupa.label for one in may[1:]])
        stages = {one.pupa.id: one.stage for one in mine}

        def move(pupa: Pupa, to: str) -> Done:
            own = best_method(pupa, stages[pupa.id], hangs_in(pupa, settings), settings)
            return self.keeper.moves.move(pupa, to, dialog.method if dialog.changed else own, pupa.danger)

        def picked(to: str | None) -> None:
            if to is not None:
                whom = [one.pupa for one in mine]
                self.about_these(whom, f"Moved to {to}", lambda pupa: move(pupa, to))

        self.app.push_screen(dialog, picked)

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
        above = "\n".join([why, *(f"! {caution}" for caution in care.advice["wait"].cautions)])
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
        row, stretches = self.shelf.row, self.morning.stretches
        stretch = row.stretch if row and not row.lifted else None
        if row and row.standing and stretch is None:
            stretch = next((one for one in stretches if row.standing in one.standings), None)
        stretch = stretch or stretches[0]
        self.app.push_screen(new_pupa_form(self.keeper, stretch), self._kept)

    def _first_place(self, done: Done | None) -> None:
        self._kept(done)
        if done:
            self.action_new()

    def _kept(self, done: Done | None) -> None:
        if done:
            self.chosen = set()
            self.after(done, show=True)
        else:
            self.refill()

    def after_undo(self, done: Done) -> None:
        self.after(done, show=True)


def _offered(choices: dict[str, str]) -> list[Choice]:
    return [Choice(answer, f"{answer.replace('-', ' '):<16} {words}") for answer, words in choices.items()]


def _named(whom: Sequence[Pupa]) -> str:
    return some_names([pupa.label for pupa in whom[:_NAMED]], len(whom))
