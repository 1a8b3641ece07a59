"""What the round screen shows, and how one goes about in it. What its keys do is in ``round.py``."""

import gc
from itertools import takewhile
from pathlib import Path
from typing import Any

from textual import events, on
from textual.app import ComposeResult
from textual.containers import Container
from textual.content import Content
from textual.geometry import Size
from textual.timer import Timer
from textual.widgets import Input, OptionList, Static
from textual.worker import get_current_worker

from pupawatch.care import adults
from pupawatch.care import round as rounds
from pupawatch.care.proposals import with_plan
from pupawatch.errors import PupawatchError
from pupawatch.keeper import Keeper
from pupawatch.keeper.drafts import Done
from pupawatch.model.state import State, by_label
from pupawatch.model.text import shown, some_names
from pupawatch.tui.acts import first_key
from pupawatch.tui.beside import beside
from pupawatch.tui.forecasting import Ahead, Forecasting
from pupawatch.tui.look import ADVICE, CALM
from pupawatch.tui.screens.answering import Alarm, AnsweringScreen
from pupawatch.tui.screens.listing import figures
from pupawatch.tui.screens.page import Page
from pupawatch.tui.widgets.days import day_strip
from pupawatch.tui.widgets.ends import Ends
from pupawatch.tui.widgets.shelf import Row, Shelf
from pupawatch.tui.widgets.story import story
from pupawatch.words.forecast import heat_lines, logger_lines
from pupawatch.words.pupae import advice_of
from pupawatch.words.round import headline, to_visit_words

ORDERS = ("by place", "by due day", "by hang time", "by label")
VIEWS = ("all", "what needs something", "what is still soft", "what finished lately")
_NAMED_CELLS = 70
"""So wide a screen names the next place in its headline."""
_NAMED = 8
"""So many labels of those chosen are named."""
_POLL_SECONDS = 1.0
_TICK_SECONDS = 20.0
_FORECAST_AFTER_SECONDS, _FORECAST_SECONDS = 0.7, 600.0


class ShelfScreen(AnsweringScreen):
    """The headline, the shelf, the story of what is selected, and a line for the answer."""

    def __init__(self, keeper: Keeper) -> None:
        super().__init__()
        self.keeper = keeper
        self.morning = rounds.walk(State(), keeper.clock(), keeper.settings)  # refilled as soon as it is mounted
        self.view = VIEWS[0]
        self.order = ORDERS[0]
        self.sought = ""
        self.chosen: set[str] = set()
        """The ids of the pupae that the next act is about."""
        self.ahead: Ahead | None = None
        """The forecasts, and what is decided for the whole shelf: they follow when the screen stands."""
        self._forecasting = Forecasting(keeper)
        self._soon: Timer | None = None
        self._shown_for: Size | None = None

    def compose(self) -> ComposeResult:
        yield Ends(id="headline")
        with Container(id="body"):
            yield Shelf(id="shelf")
            # As tall as its room and no taller, so that a new story needs no new layout; enter opens the whole of it.
            yield Static("", id="story", markup=False)
        yield Input(
            placeholder="find: a label, place, species, stage or advice · esc shows all",
            id="search",
            compact=True,
        )
        yield Static("", id="days", markup=False)
        yield Static("", id="said", markup=False)
        yield Ends(id="keys", gap=2)

    def on_mount(self) -> None:
        self.shelf.focus()
        self.refill()
        first = next((row for row in self.shelf.rows if row.standing), None)
        if first:
            self.shelf.go_to(first.key)
        self.forecast_soon()
        self.woke()  # from here on a leap of the clock is seen
        self.set_interval(_POLL_SECONDS, self.poll)
        self.set_interval(_TICK_SECONDS, self.refill)
        self.set_interval(_FORECAST_SECONDS, self.forecast)

    def on_unmount(self) -> None:
        self._forecasting.close()

    def forecast_soon(self) -> None:
        """Forecast when the keys have rested for a moment: the screen stands first, and no key waits for it."""
        if self._soon is not None:
            self._soon.stop()
        self._soon = self.set_timer(_FORECAST_AFTER_SECONDS, self.forecast)

    @beside("forecast", "working out the forecasts")
    def forecast(self) -> None:
        """Work the forecasts out beside the screen, and show them when they are there."""
        try:
            ahead = self._forecasting.ask(self.keeper.settings)
        except PupawatchError as error:
            self.app.call_from_thread(self.say, f"✗ {error}", "-refused")
            return
        if not get_current_worker().is_cancelled:  # else a newer one is on its way
            self.app.call_from_thread(self._forecast_came, ahead)

    def _forecast_came(self, ahead: Ahead) -> None:
        if not self.is_attached:  # the keeper has left meanwhile
            return
        before = self.ahead
        if before is None:
            gc.freeze()  # as the app does with the first screen: numpy and the forecasts stay as well
        heat = ahead.known.heat
        if heat.keys() - (before.known.heat.keys() if before else set()):  # afterwards it stands in the place's story
            self.say(" · ".join(f"! {warning}" for warning in heat_lines(heat)), "-warning")
        now, settings = ahead.morning.now, self.keeper.settings
        told = logger_lines(ahead.known.loggers, now, settings.zone, settings.unit)
        if told and (before is None or before.known.loggers != ahead.known.loggers):
            self.say(" · ".join(f"! {line}" for line in told), "-warning")
        if ahead.problem and (before is None or ahead.problem != before.problem):
            self.say(f"! {ahead.problem}", "-warning")
        self.ahead = ahead
        self.refill()

    @property
    def shelf(self) -> Shelf:
        return self.query_one(Shelf)

    # -- showing

    def poll(self) -> None:
        """Show what a command or another dashboard wrote."""
        try:
            if self.keeper.refresh() or self.woke():
                self.refill()
                self.forecast_soon()
        except PupawatchError as error:
            self.post_message(Alarm(f"{error} The screen shows the last known state."))

    def refill(self) -> None:
        """Show the round as it is now, with what was decided for those that have not changed since."""
        known = self.ahead.known if self.ahead else rounds.NOTHING_KNOWN
        self.morning = rounds.walk(self.keeper.state, self.keeper.clock(), self.keeper.settings, known)
        if self.ahead is not None and self.ahead.morning.plan is not None:
            self.morning = with_plan(self.morning, self.ahead.morning.plan)
        self._show()

    def _show(self) -> None:
        """Draw what is known for the width the screen has. The application knows that before the screen is laid out."""
        self._shown_for = self.app.size
        rows = self._rows()
        self.chosen &= {row.pupa_id for row in rows}  # nothing is done to one that is not seen
        self.query_one("#headline", Ends).show(self._headline(rows), self._progress())
        days = day_strip(self.ahead.days if self.ahead else (), self.app.size.width - 2)
        self.query_one("#days", Static).update(days, layout=False)
        self.query_one("#body").set_class(not self.morning.stretches and not rows, "-empty")
        self.shelf.show(rows, self.morning, self.keeper.settings, self.chosen)
        self.tell()

    @on(OptionList.OptionHighlighted, "#shelf")
    def tell(self) -> None:
        """Tell the story of the selected row."""
        row = self.shelf.row
        if row is None and (self.morning.stretches or self.sought):
            told = Content("Nothing here matches; v changes the view, esc ends the search.")
        else:
            told = story(row, self.morning, self.keeper.settings)
        self.query_one("#story", Static).update(told, layout=False)
        self.show_foot()

    def _headline(self, rows: list[Row]) -> list[Content]:
        if self.chosen:
            labels = [row.standing.pupa.label for row in rows if row.standing and row.pupa_id in self.chosen]
            told = f"{len(labels)} chosen (esc lets go): {some_names(labels[:_NAMED], len(labels))}"
            return [Content.styled(shown(told), "bold $text-accent")]
        if self.view != VIEWS[0] or self.sought:
            sought = [f"“{self.sought}”"] if self.sought else []
            only = ", ".join([*([self.view] if self.view != VIEWS[0] else []), *sought])
            return [Content.styled(shown(f"Only {only}: {sum(1 for r in rows if r.standing)}"), "bold")]
        pieces = figures(shown(headline(self.morning)))
        if any(standing.verdict.kind == "rescue" for standing in self.morning.standings):
            pieces[0] = Content.styled(f" {pieces[0].plain} ", ADVICE["rescue"])
        if fallen := adults.on_the_floor(self.keeper.state, self.morning.now, self.keeper.settings):
            told = f"► {', '.join(fallen)} on the floor with soft wings (watch)"
            pieces.insert(0, Content.styled(shown(told), ADVICE["sick"]))
        return pieces

    def _progress(self) -> Content:
        """How far the round is; on a narrow screen without the name of the next place."""
        words = to_visit_words(self.morning)
        return Content.styled(shown(words if self.app.size.width >= _NAMED_CELLS else words.split(":")[0]), CALM)

    def on_resize(self) -> None:
        if self._shown_for not in (None, self.app.size):
            self._show()

    def _rows(self) -> list[Row]:
        if self.view == VIEWS[3]:
            return [row for row in self._finished() if self._matches(row)]
        if self.order != ORDERS[0]:
            return self._ordered()
        first = self.morning.first
        lifted = {standing.pupa.id for standing in first}
        here = {stretch.place.name: stretch for stretch in self.morning.stretches}
        rows = [Row(here[standing.pupa.place], standing, lifted=True) for standing in first]
        rows = [row for row in rows if self._in_view(row) and self._matches(row)]
        rows = [Row(None, None, heading="BEFORE THE ROUND"), *rows] if rows else []
        for stretch in self.morning.stretches:
            inside = [Row(stretch, standing) for standing in stretch.standings if standing.pupa.id not in lifted]
            inside = [row for row in inside if self._in_view(row) and self._matches(row)]
            if inside or (self.view == VIEWS[0] and not self.sought):
                rows += [Row(stretch, None), *inside]
        return rows

    def _ordered(self) -> list[Row]:
        """All in one list, away from their places."""
        stretches = [(stretch, one) for stretch in self.morning.stretches for one in stretch.standings]
        rows = [Row(stretch, one, lifted=True) for stretch, one in stretches]
        rows = [row for row in rows if self._in_view(row) and self._matches(row)]
        rows.sort(key=lambda row: _by_order(self.order, row.standing) if row.standing else ())
        return [Row(None, None, heading=self.order.upper()), *rows] if rows else []

    def _finished(self) -> list[Row]:
        picture, labels = self.morning.picture, rounds.labels_of(self.keeper.state)
        done = [pupa for pupa in self.keeper.state.pupae.values() if not pupa.is_open]
        # By the end of its time as a pupa: judging its wings or letting it fly does not move it on the shelf.
        done.sort(key=lambda pupa: (pupa.emerged or pupa.lost or pupa.entries[-1]).happened, reverse=True)
        stretches = {stretch.place.name: stretch for stretch in self.morning.stretches}
        return [
            Row(
                stretches.get(pupa.place)
                or rounds.Stretch(self.keeper.settings.place(pupa.place), [], None, True, picture.place(pupa.place)),
                rounds.standing(pupa, picture, labels),
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
            advice_of(standing, self.keeper.settings).word,
        )  # fmt: skip
        return any(self.sought.casefold() in word.casefold() for word in words)

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
        found = [row for row in self.shelf.rows if row.standing]
        exact = [row for row in found if row.standing and row.standing.pupa.label.casefold() == self.sought.casefold()]
        if self.sought and found:
            self.shelf.go_to((exact or found)[0].key)

    def on_key(self, event: events.Key) -> None:
        """The arrows walk the shelf also while a word is typed."""
        if event.key in ("up", "down") and self.query_one("#search", Input).has_focus:
            event.stop()
            self.action_down() if event.key == "down" else self.action_up()

    @on(Input.Submitted, "#search")
    def sought_kept(self) -> None:
        self.query_one("#search", Input).remove_class("-open")
        self.shelf.focus()

    def key_escape(self) -> None:
        search = self.query_one("#search", Input)
        if self.chosen:
            self.chosen = set()
            self.refill()
            return
        if not self.sought and self.view == VIEWS[0] and not search.has_class("-open"):
            self.app.clear_notifications()  # nothing else is left to put away
        search.value = ""
        search.remove_class("-open")
        self.view = VIEWS[0]
        self.shelf.focus()
        self.refill()

    def action_order(self) -> None:
        self.order = ORDERS[(ORDERS.index(self.order) + 1) % len(ORDERS)]
        self.refill()
        key = first_key(self.keeper.settings.keys, "order")
        self.say(f"The list is ordered {self.order}; {key} again for the next order.")
        self.shelf.scroll_to_highlight()

    def action_choose(self) -> None:
        row = self.shelf.row
        if row is None:
            return
        if row.standing is not None:
            self.chosen ^= {row.pupa_id}
            self.refill()
            self.shelf.action_cursor_down()
        else:
            below = self.shelf.rows[self.shelf.rows.index(row) + 1 :]
            self._choose([one.pupa_id for one in takewhile(lambda one: one.standing is not None, below)])

    def action_choose_all(self) -> None:
        self._choose([row.pupa_id for row in self.shelf.rows])

    def _choose(self, pupae: list[str]) -> None:
        """Choose these, or let them go where all of them are chosen."""
        meant = {one for one in pupae if one}
        self.chosen = self.chosen - meant if meant <= self.chosen else self.chosen | meant
        self.refill()

    def action_copy(self) -> None:
        if (line := self.shelf.line) is not None:
            self.app.copy_to_clipboard(line)
            self.say(f"Copied: {line}")

    def action_view(self) -> None:
        self.view = VIEWS[(VIEWS.index(self.view) + 1) % len(VIEWS)]
        self.refill()

    def action_watch(self) -> None:
        from pupawatch.tui.screens.watch import WatchScreen

        self.app.push_screen(WatchScreen(self.keeper), lambda _: self.refill())

    def action_adults(self) -> None:
        from pupawatch.tui.screens.adults import AdultsScreen

        self.app.push_screen(AdultsScreen(self.keeper), lambda _: self.refill())

    def action_health(self) -> None:
        from pupawatch.tui.screens.health import HealthScreen

        row = self.shelf.row
        pupa = row.standing.pupa if row and row.standing else None
        self.app.push_screen(HealthScreen(self.keeper, pupa), lambda _: self.came_back())

    def action_plan(self) -> None:
        from pupawatch.tui.screens.plan import PlanScreen

        self.app.push_screen(PlanScreen(self.keeper, self._forecasting), lambda _: self.came_back())

    def came_back(self) -> None:
        """Show the round after a screen on which much may have been changed, and have it decided anew."""
        self.refill()
        self.forecast_soon()

    def action_move_log(self) -> None:
        from pupawatch.tui.screens.move_log import MoveLogScreen

        row = self.shelf.row
        pupa = row.standing.pupa if row and row.standing else None
        self.app.push_screen(MoveLogScreen(self.keeper, pupa), lambda _: self.refill())

    def action_places(self) -> None:
        from pupawatch.tui.screens.places import PlacesScreen

        known = self.ahead.known if self.ahead else rounds.NOTHING_KNOWN
        self.app.push_screen(PlacesScreen(self.keeper, known), lambda _: self.came_back())

    def action_table(self) -> None:
        from pupawatch.tui.screens.table import TableScreen, file_form

        def chosen(done: Done | None) -> None:
            if done is not None:
                self.app.push_screen(TableScreen(self.keeper, Path(done.words)), lambda _: self.came_back())

        self.app.push_screen(file_form(self.keeper), chosen)

    def action_review(self) -> None:
        from pupawatch.tui.screens.review import ReviewScreen

        self.app.push_screen(ReviewScreen(self.keeper))

    def action_help(self) -> None:
        from pupawatch.tui.screens.help import help_text

        self.app.push_screen(Page("Keys, signs and cautions", lambda columns: help_text(self.keeper.settings, columns)))

    @on(OptionList.OptionSelected, "#shelf")
    def open_story(self) -> None:
        """The whole story, where the pane is too low for it."""
        row = self.shelf.row
        if row is not None:
            title = row.standing.pupa.label if row.standing else row.stretch.place.name if row.stretch else ""
            self.app.push_screen(Page(title, story(row, self.morning, self.keeper.settings)))

    def action_quit(self) -> None:
        self.app.exit()


def _by_order(order: str, standing: rounds.Standing) -> tuple[Any, ...]:
    """The key by which one is sorted: what is due first, what hangs longest first, or labels as they are counted."""
    label = by_label(standing.pupa)
    if order == ORDERS[1]:
        due = standing.outlook.median if standing.outlook else None
        return (due is None, due or standing.pupa.entries[0].happened, label)
    return (-standing.hang[0], label) if order == ORDERS[2] else (label,)
