"""The watch: this morning's fresh adults with a clock each, and the pupae that come next. Its one alarm is a fall."""

from typing import ClassVar

from textual.binding import BindingType
from textual.content import Content

from pupawatch.care import adults
from pupawatch.care.adults import Butterfly, Coming
from pupawatch.keeper import Keeper
from pupawatch.model.pupa import Pupa
from pupawatch.model.text import shown
from pupawatch.model.times import shown_time
from pupawatch.tui.acts import bindings
from pupawatch.tui.look import ADVICE, CALM
from pupawatch.tui.screens.butterflies import ButterflyScreen
from pupawatch.tui.screens.check import check
from pupawatch.tui.screens.dialogs import Choice, Pick
from pupawatch.tui.screens.listing import Item

_NOTE_SECONDS = 8


class WatchScreen(ButterflyScreen):
    """Who is out, who comes next, and what each needs now."""

    SCREEN = "watch"
    BINDINGS: ClassVar[list[BindingType]] = bindings(SCREEN)

    def __init__(self, keeper: Keeper) -> None:
        super().__init__(keeper)
        self.seen = adults.watch(keeper.state, keeper.clock(), keeper.settings)
        self._called: set[str] = set()

    def items(self) -> list[Item]:
        self.seen = adults.watch(self.keeper.state, self.keeper.clock(), self.keeper.settings)
        fresh = [self.butterfly_item(b, f"{b.pupa.place[:18]:<18}") for b in self.seen.fresh]
        return [*fresh, *(self._coming_item(coming) for coming in self.seen.coming)]

    def headline(self) -> str:
        soft = sum(1 for b in self.seen.fresh if b.phase in ("expanding", "drying"))
        fallen = ", ".join(b.pupa.label for b in self.seen.alarms)
        parts = [
            f"► ON THE FLOOR: {fallen}" if fallen else "",
            f"{len(self.seen.fresh)} out" if self.seen.fresh else "",
            f"{soft} of them with soft wings" if soft else "",
            f"{len(self.seen.coming)} darkening or clear" if self.seen.coming else "",
        ]
        now = shown_time(self.seen.now, self.keeper.settings.zone, self.seen.now)
        return f"The watch, {now}: {', '.join(part for part in parts if part) or 'nothing emerges'}"

    def tell(self, item: Item | None) -> Content:
        if item is None:
            return Content("No pupa is darkening or clear, and none emerged this morning. esc goes back to the round.")
        if isinstance(item.about, Butterfly):
            return self.butterfly_story(item.about)
        assert isinstance(item.about, Coming)
        coming, settings = item.about, self.keeper.settings
        advice = settings.care.advice["leave" if coming.stage == "clear" else "soon"]
        lines = [Content.assemble((f"{advice.sign} {shown(coming.pupa.label)} ", "bold"), self._waits(coming))]
        if not coming.can_climb:
            lines.append(
                Content.styled(
                    "The butterfly cannot climb there: bring mesh, a twig or paper within its reach.", "bold"
                )
            )
        lines.append(
            Content("When it is out, press e. Press x if it is stuck, died before emerging, or a parasitoid emerged.")
        )
        return Content("\n").join([*lines, *(Content(step) for step in advice.steps)])

    def refill(self) -> None:
        super().refill()
        self._call_out()

    def _call_out(self) -> None:
        """The bell and a note, once a fall, where the keeper wants them."""
        wanted = self.keeper.settings.keeper.alarm
        for butterfly in self.seen.alarms:
            fall = butterfly.pupa.fallen
            if fall is None or fall.id in self._called:
                continue
            self._called.add(fall.id)
            self.go_to(butterfly.pupa.id)
            if wanted.bell:
                self.app.bell()
            if wanted.notify:
                told = f"{butterfly.pupa.label} is on the floor with soft wings."
                self.notify(shown(told), severity="error", timeout=_NOTE_SECONDS, markup=False)

    def _coming_item(self, coming: Coming) -> Item:
        settings = self.keeper.settings
        sign = settings.care.stages[coming.stage].sign
        line = Content.assemble(
            (
                f" {sign} {'CLEAR' if coming.stage == 'clear' else 'DARKENING':<10}",
                ADVICE["leave" if coming.stage == "clear" else "soon"],
            ),
            f"{shown(coming.pupa.label):<7}",
            f"               {shown(coming.pupa.place)[:18]:<18} ",
            (self._waits(coming), CALM if coming.can_climb else ADVICE["sick"]),
        )
        return Item(coming.pupa.id, line, coming)

    def _waits(self, coming: Coming) -> str:
        if not coming.can_climb:
            return "bring a climbing aid" if coming.stage == "clear" else "move it today"
        return "any time now" if coming.stage == "clear" else "within days"

    def _pupa(self) -> Pupa | None:
        """The selected pupa or butterfly."""
        about = self.item.about if self.item else None
        return about.pupa if isinstance(about, Butterfly | Coming) else None

    def action_emerged(self) -> None:
        if (pupa := self._pupa()) is not None:
            self.act(lambda: self.keeper.pupae.emerged(pupa))
            self.go_to(pupa.id)

    def action_fell(self) -> None:
        pupa = self._pupa()
        if pupa is not None and pupa.emerged is None:
            self.act(lambda: self.keeper.pupae.fell(pupa))
        else:
            super().action_fell()

    def action_check(self) -> None:
        if (pupa := self._pupa()) is not None:
            check(self, pupa)

    def action_lost(self) -> None:
        pupa = self._pupa()
        if pupa is None or pupa.emerged is not None:
            super().action_lost()
            return
        choices = [Choice(cause, f"{cause.replace('-', ' '):<13} {words}") for cause, words in self._losses().items()]

        def picked(answer: str | None) -> None:
            if answer:
                self.act(lambda: self.keeper.pupae.lost(pupa, answer))

        self.app.push_screen(Pick(f"Why did {pupa.label} produce no butterfly?", choices), picked)

    def _losses(self) -> dict[str, str]:
        """The causes of loss, those of a morning's emergence first."""
        losses = self.keeper.settings.care.losses
        first = [cause for cause in ("stuck", "died-in-case", "parasitoid") if cause in losses]
        return {cause: losses[cause] for cause in [*first, *(c for c in losses if c not in first)]}

    def urgent(self, item: Item) -> bool:
        soft = ("expanding", "drying")
        fresh = isinstance(item.about, Butterfly) and item.about.phase in soft and not item.about.pupa.wings_full
        return fresh or super().urgent(item) or (isinstance(item.about, Coming) and item.about.stage == "clear")

    def action_adults(self) -> None:
        from pupawatch.tui.screens.adults import AdultsScreen

        self.app.push_screen(AdultsScreen(self.keeper), lambda _: self.refill())
