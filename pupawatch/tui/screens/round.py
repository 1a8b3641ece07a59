"""The round: the first screen. A key acts at once on the selected pupa and moves on."""

from collections.abc import Callable
from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Container, VerticalScroll
from textual.screen import Screen
from textual.widgets import Input, OptionList, Static

from pupawatch.care import round as rounds
from pupawatch.desk import Done
from pupawatch.errors import NotUnderstood, PupawatchError
from pupawatch.keeper import Keeper
from pupawatch.model.pupa import Pupa
from pupawatch.model.text import shown
from pupawatch.tui.acts import ROUND, bindings, key_line
from pupawatch.tui.screens.dialogs import Choice, Field, Form, Pick
from pupawatch.tui.widgets.shelf import Row, Shelf
from pupawatch.tui.widgets.story import story

VIEWS = ("all", "needs something", "still soft", "finished lately")
_POLL_SECONDS = 1.0
_TICK_SECONDS = 20.0


class RoundScreen(Screen[None]):
    """The shelf, the story of what is selected, and the keys."""

    BINDINGS: ClassVar[list[BindingType]] = bindings(ROUND)

    def __init__(self, keeper: Keeper) -> None:
        super().__init__()
        self.keeper = keeper
        self.morning = rounds.walk(keeper.state, keeper.clock(), keeper.settings)
        self.view = VIEWS[0]
        self.sought = ""
        self.method = ""

    def compose(self) -> ComposeResult:
        yield Static("", id="headline", markup=False)
        with Container(id="body"):
            yield Shelf(id="shelf")
            with VerticalScroll(id="story", can_focus=False):
                yield Static("", id="told", markup=False)
        yield Input(
            placeholder="show only: a label, place, species, stage or verdict · esc shows all",
            id="search",
            compact=True,
        )
        yield Static("", id="said", markup=False)
        yield Static(key_line(ROUND, self.keeper.settings.keys), id="keys")

    def on_mount(self) -> None:
        self.shelf.focus()
        self.refill()
        self.set_interval(_POLL_SECONDS, self.poll)
        self.set_interval(_TICK_SECONDS, self.refill)

    @property
    def shelf(self) -> Shelf:
        return self.query_one(Shelf)

    # -- showing

    def poll(self) -> None:
        """Show what a command or another dashboard wrote."""
        try:
            if self.keeper.refresh():
                self.refill()
        except PupawatchError as error:
            self.say(str(error), "-refused")

    def refill(self) -> None:
        """Show the round as it is now."""
        self.morning = rounds.walk(self.keeper.state, self.keeper.clock(), self.keeper.settings)
        headline = f"{rounds.headline(self.morning)}; {rounds.unwalked_words(self.morning)}"
        if self.view != VIEWS[0] or self.sought:
            sought = f", “{self.sought}”" if self.sought else ""
            headline = f"[{self.view}{sought}]  {headline}"
        self.query_one("#headline", Static).update(shown(headline), layout=False)
        self.shelf.show(self._rows(), self.morning, self.keeper.settings)
        self.tell()

    @on(OptionList.OptionHighlighted, "#shelf")
    def tell(self) -> None:
        """Tell the story of the selected row."""
        row = self.shelf.row
        if row is None and (self.morning.stretches or self.sought):
            self.query_one("#told", Static).update("Nothing here matches; v changes the view, esc ends the search.")
        else:
            self.query_one("#told", Static).update(story(row, self.morning, self.keeper.settings))
        self.query_one("#story", VerticalScroll).scroll_home(animate=False)

    def say(self, words: str, kind: str = "") -> None:
        """One line of answer above the keys."""
        said = self.query_one("#said", Static)
        said.set_classes(kind)
        said.update(shown(words.replace("\n", " · ")))

    def _rows(self) -> list[Row]:
        if self.view == VIEWS[3]:
            return [row for row in self._finished() if self._matches(row)]
        first = self.morning.first
        lifted = {standing.pupa.id for standing in first}
        here = {stretch.place.name: stretch for stretch in self.morning.stretches}
        rows = [Row(here[standing.pupa.place], standing, lifted=True) for standing in first]
        rows = [row for row in rows if self._in_view(row) and self._matches(row)]
        rows = [Row(None, None), *rows] if rows else []
        for stretch in self.morning.stretches:
            inside = [Row(stretch, standing) for standing in stretch.standings if standing.pupa.id not in lifted]
            inside = [row for row in inside if self._in_view(row) and self._matches(row)]
            if inside or (self.view == VIEWS[0] and not self.sought):
                rows += [Row(stretch, None), *inside]
        return rows

    def _finished(self) -> list[Row]:
        scene = rounds.Scene.of(self.keeper.state, self.morning.now, self.keeper.settings)
        done = [pupa for pupa in self.keeper.state.pupae.values() if not pupa.is_open]
        done.sort(key=lambda pupa: pupa.entries[-1].happened, reverse=True)
        stretches = {stretch.place.name: stretch for stretch in self.morning.stretches}
        return [
            Row(
                stretches.get(pupa.place)
                or rounds.Stretch(self.keeper.settings.place(pupa.place), [], None, None, walked=True),
                rounds.standing(pupa, scene),
            )
            for pupa in done
        ]

    def _in_view(self, row: Row) -> bool:
        assert row.standing is not None
        if self.view == VIEWS[1]:
            return row.standing.needs_something or bool(row.standing.flags)
        return self.view != VIEWS[2] or row.standing.verdict.kind == "wait"

    def _matches(self, row: Row) -> bool:
        standing = row.standing
        if not self.sought or standing is None:
            return True
        profile = self.keeper.settings.profile(standing.pupa.species)
        words = (
            standing.pupa.label, standing.pupa.place, profile.name, standing.stage,
            self.keeper.settings.care.advice[standing.verdict.kind].word,
        )  # fmt: skip
        return any(self.sought.casefold() in word.casefold() for word in words)

    # -- acting

    def act(self, do: Callable[[], Done], onward: bool = False) -> None:
        """Do it, say what was done or why not, and go on to the next row."""
        try:
            done = do()
        except PupawatchError as error:
            self.say(f"✗ {error}", "-refused")
            return
        if onward and self.shelf.highlighted is not None and self.shelf.highlighted + 1 < len(self.shelf.rows):
            self.shelf.highlighted += 1
        self.refill()
        self.say(" · ".join([f"✓ {done.words}", *done.warnings]), "-warning" if done.warnings else "")

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

        offered = [Choice(answer, f"{answer.replace('-', ' '):<16} {words}") for answer, words in choices.items()]
        self.app.push_screen(Pick(f"{title} {pupa.label}", offered), picked)

    def action_walked(self) -> None:
        row = self.shelf.row
        if row is None or row.stretch is None:
            self.say("Select a place, or a pupa in it, first.", "-warning")
            return
        place = row.stretch.place.name
        self.act(lambda: self.keeper.looked([place]))
        for stretch in self.morning.stretches:
            if not stretch.walked and self.shelf.go_to(f"place:{stretch.place.name}"):
                self.shelf.scroll_to(y=self.shelf.highlighted, animate=False)
                break

    def action_darkened(self) -> None:
        self.about(lambda pupa: self.keeper.saw(pupa.label, "darkening"))

    def action_clear(self) -> None:
        self.about(lambda pupa: self.keeper.saw(pupa.label, "clear"))

    def action_emerged(self) -> None:
        self.about(lambda pupa: self.keeper.emerged(pupa.label), onward=False)

    def action_fell(self) -> None:
        self.about(lambda pupa: self.keeper.fell(pupa.label), onward=False)

    def action_danger(self) -> None:
        self.pick(
            "What threatens", self.keeper.settings.care.emergencies, lambda p, why: self.keeper.fell(p.label, why)
        )

    def action_stage(self) -> None:
        pupa = self.pupa()
        if pupa is not None:
            looks = self.keeper.settings.profile(pupa.species).looks
            self.pick("What does it look like:", looks, lambda p, stage: self.keeper.saw(p.label, stage))

    def action_wings(self) -> None:
        self.pick("Judge the wings of", self.keeper.settings.care.wings, lambda p, how: self.keeper.wings(p.label, how))

    def action_lost(self) -> None:
        self.pick(
            "Why gave it no adult:", self.keeper.settings.care.losses, lambda p, why: self.keeper.lost(p.label, why)
        )

    def action_pupated(self) -> None:
        self.about(lambda pupa: self.keeper.found(pupa.label))

    def action_note(self) -> None:
        pupa = self.pupa()
        if pupa is not None:
            form = Form(
                f"A note about {pupa.label}",
                [Field("text", "Note")],
                lambda values: self.keeper.note(pupa.label, values["text"]).words,
            )
            self.app.push_screen(form, self._kept)

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
        emergencies = self.keeper.settings.care.emergencies
        stay = Choice("", "Leave it where it is")
        offered = [stay, *(Choice(name, f"{name.replace('-', ' '):<16} {told}") for name, told in emergencies.items())]
        try:
            self.keeper.may_move(row.standing.pupa.label)
        except PupawatchError as error:
            why = str(error)
        else:
            self._move_to(row, "")
            return

        def picked(answer: str | None) -> None:
            if answer:
                self._move_to(row, answer)

        advice = self.keeper.settings.care.advice["wait"]
        beside = "\n".join([why, *(f"⚠ {caution}" for caution in advice.cautions)])
        self.app.push_screen(Pick("Not yet. Is it in danger?", offered, beside), picked)

    def _move_to(self, row: Row, emergency: str) -> None:
        from pupawatch.tui.screens.move import MoveTo

        assert row.standing is not None
        label = row.standing.pupa.label
        dialog = MoveTo(row.standing, self.morning, self.keeper.settings, self.method, emergency)
        if not dialog.choices:
            self.say("There is no other place yet; press p to describe one.", "-warning")
            return

        def picked(to: str | None) -> None:
            if to is not None:
                self.method = dialog.method
                self.act(lambda: self.keeper.move(label, to, dialog.method, emergency), onward=True)

        self.app.push_screen(dialog, picked)

    def action_new(self) -> None:
        if not self.keeper.round_places():
            from pupawatch.tui.screens.places import place_form

            self.app.push_screen(place_form(self.keeper, None), self._first_place)
            return
        row = self.shelf.row
        place = row.stretch.place.name if row and row.stretch else self.keeper.round_places()[0]
        self.app.push_screen(self._new_form(place), self._kept)

    def _first_place(self, words: str | None) -> None:
        self._kept(words)
        if words:
            self.action_new()

    def _new_form(self, place: str) -> Form:
        from pupawatch.model.times import Span, parse_span

        keeper = self.keeper

        def keep(values: dict[str, str]) -> str:
            now, zone = keeper.clock(), keeper.settings.zone
            kind = values["what"].strip().casefold() or "pupa"
            if kind not in ("pupa", "caterpillar"):
                raise NotUnderstood(f"“{kind}” is neither pupa nor caterpillar")
            when = None
            if values["since"].strip():
                when = Span(parse_span(values["since"], zone, now).since, now)
            return keeper.found(
                values["label"], values["place"], values["species"], when, prepupa=kind == "caterpillar"
            ).words

        fields = [
            Field("label", "Label", keeper.next_label()),
            Field("place", "Place", place, known=keeper.round_places()),
            Field("what", "pupa, or caterpillar (hanging, not yet a pupa)", "pupa", known=("pupa", "caterpillar")),
            Field("species", "Species", keeper.settings.keeper.species, known=list(keeper.settings.species)),
            Field("since", "Formed after", hint="the last time this place was looked over"),
        ]
        return Form("A new pupa", fields, keep)

    def _kept(self, words: str | None) -> None:
        self.refill()
        if words:
            self.say(f"✓ {words}")

    def action_undo(self) -> None:
        self.act(self.keeper.undo)

    def action_redo(self) -> None:
        self.act(self.keeper.redo)

    # -- going about

    def action_down(self) -> None:
        self.shelf.action_cursor_down()

    def action_up(self) -> None:
        self.shelf.action_cursor_up()

    def action_next_urgent(self) -> None:
        needy = [row for row in self.shelf.rows if row.standing and row.standing.needs_something]
        needy.sort(key=lambda row: row.standing.urgency if row.standing else (0, False))
        keys = [row.key for row in needy]
        here = self.shelf.row
        if not keys:
            self.say("Nothing here needs you.")
        elif here is None or here.key not in keys:
            self.shelf.go_to(keys[0])
        else:
            self.shelf.go_to(keys[(keys.index(here.key) + 1) % len(keys)])

    def action_next_place(self) -> None:
        self._to_place(1)

    def action_previous_place(self) -> None:
        self._to_place(-1)

    def _to_place(self, step: int) -> None:
        headings = [index for index, row in enumerate(self.shelf.rows) if row.standing is None and row.stretch]
        at = self.shelf.highlighted or 0
        ahead = [i for i in headings if i > at] if step > 0 else [i for i in reversed(headings) if i < at]
        if ahead:
            self.shelf.highlighted = ahead[0]

    def action_search(self) -> None:
        search = self.query_one("#search", Input)
        search.add_class("-open")
        search.focus()

    @on(Input.Changed, "#search")
    def sought_changed(self, event: Input.Changed) -> None:
        self.sought = event.value.strip()
        self.refill()

    @on(Input.Submitted, "#search")
    def sought_kept(self) -> None:
        self.query_one("#search", Input).remove_class("-open")
        self.shelf.focus()

    def key_escape(self) -> None:
        search = self.query_one("#search", Input)
        search.value = ""
        search.remove_class("-open")
        self.view = VIEWS[0]
        self.shelf.focus()
        self.refill()

    def action_view(self) -> None:
        self.view = VIEWS[(VIEWS.index(self.view) + 1) % len(VIEWS)]
        self.refill()

    def action_places(self) -> None:
        from pupawatch.tui.screens.places import PlacesScreen

        self.app.push_screen(PlacesScreen(self.keeper), lambda _: self.refill())

    def action_help(self) -> None:
        from pupawatch.tui.screens.help import Help

        self.app.push_screen(Help(self.keeper.settings))

    def action_quit(self) -> None:
        self.app.exit()
