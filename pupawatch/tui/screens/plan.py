"""The plan of the morning: what to hang where, and what to leave alone, with the reason of each."""

from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.content import Content

from pupawatch.care.round import Plan, Proposal, Round
from pupawatch.keeper import Keeper
from pupawatch.model.codes import PROPOSED
from pupawatch.model.text import shown
from pupawatch.tui.beside import beside
from pupawatch.tui.forecasting import Forecasting
from pupawatch.tui.screens.listing import Item, ListScreen
from pupawatch.tui.screens.page import Page
from pupawatch.tui.widgets.shelf import STYLES
from pupawatch.words.moves import PLAN_WORDS, TOSS_UP, figures, tomorrow_line

_CALM = "$foreground 70%"


class PlanScreen(ListScreen):
    """Worked out beside the screen's thread, and anew after every act."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "done", "Done", tooltip="done as proposed: record the move (or the climbing aid)"),
        Binding("x", "figures", "Numbers", tooltip="the numbers behind a proposal, or without them"),
        Binding("s", "steps", "Steps", tooltip="all the steps and cautions of a proposal"),
        Binding("g", "back", tooltip="back to the round"),
    ]
    FOOT: ClassVar[tuple[str, ...]] = ("done", "steps", "figures", "undo")

    def __init__(self, keeper: Keeper, forecasting: Forecasting) -> None:
        """forecasting: what works the plan out, as for the round."""
        super().__init__(keeper)
        self._forecasting = forecasting
        self.plan: Plan | None = None
        self.morning: Round | None = None
        self.with_figures = False
        self.failed = False

    def refill(self) -> None:
        """Begin to work the plan out anew; what stands there stays until it comes."""
        if self.plan is None:
            super().refill()
        self._state = self.keeper.state
        self.work_out()

    @beside("plan", "working out the plan")
    def work_out(self) -> None:
        """Have the whole shelf decided; it takes forecasts and scipy, which are slow to load."""
        self.app.call_from_thread(self.came, self._forecasting.ask(self.keeper.settings).morning)

    def came(self, morning: Round) -> None:
        """Show a plan that was worked out."""
        if self.is_attached:
            self.morning, self.plan, self.failed = morning, morning.plan, False
            super().refill()

    def gave_up(self, group: str) -> None:
        """Say that the plan which stands there, if any, is not of now."""
        self.failed = True
        super().refill()

    def items(self) -> list[Item]:
        if self.plan is None:
            return []
        return [_item(one) for one in (*self.plan.proposals, *self.plan.left)]

    def headline(self) -> str:
        plan = self.plan
        if self.failed:
            return "Plan: could not be worked out; this is an older one" if plan else "Plan: could not be worked out"
        if plan is None:
            return "Plan: working it out …"
        if not plan.proposals:
            return "Plan: nothing to move this morning; leave them alone"
        rescues, climbs, moves = (sum(one.kind == kind for one in plan.proposals) for kind in PROPOSED)
        told = [_counted(rescues, "rescue"), _counted(climbs, "climb"), f"{moves} of {plan.moves_left} moves"]
        less, low, high = plan.risk_now - plan.risk_planned, max(0.0, plan.saved_low), max(0.0, plan.saved_high)
        fewer = f"{less:.1f} fewer bad emergences (4 in 5: {low:.1f}–{high:.1f})"
        return f"Plan: {', '.join(word for word in told if word)}; {fewer}"

    def tell(self, item: Item | None) -> Content:
        if item is None or not isinstance(item.about, Proposal) or self.morning is None:
            return Content("" if self.failed else "Comparing pupae and places …")
        one, care = item.about, self.keeper.settings.care
        pupa = one.standing.pupa
        lines = [
            Content.assemble((shown(pupa.label), "bold"), f"  {shown(pupa.place)}"),
            Content(shown(f"{one.why[:1].upper()}{one.why[1:]}.")),
        ]
        lines += [Content.styled(shown(f"{TOSS_UP[:1].upper()}{TOSS_UP[1:]}."), "$text-warning")] if one.toss_up else []
        if self.plan is not None and (tomorrow := tomorrow_line(self.plan)):
            lines.append(Content.styled(shown(tomorrow), _CALM))
        if self.with_figures:
            lines += [Content.styled(shown(line), "$text-accent") for line in figures(one, self.morning.picture)]
        ways = list(one.standing.ways)
        ways += [care.methods[one.method]] if one.method in care.methods else []
        for way in ways:
            lines.append(Content.styled(shown(f"{way.words[:1].upper()}{way.words[1:]}:"), "bold"))
            lines += [Content.styled(shown(f"⚠ {caution}"), "$text-warning") for caution in way.cautions]
            lines += [Content(shown(f"{number}. {step}")) for number, step in enumerate(way.steps, start=1)]
        return Content("\n").join(lines)

    def open(self, item: Item) -> None:
        """Enter: write down that it was done."""
        one = item.about
        assert isinstance(one, Proposal)
        pupa = one.standing.pupa
        if one.is_left:
            self.say(f"{pupa.label} stays: {one.why}.")
        elif one.kind == "climb":
            self.act(lambda: self.keeper.moves.climb(pupa))
        elif one.place:
            self.act(lambda: self.keeper.moves.move(pupa, one.place, one.method, reason=one.why))
        else:
            self.say(f"✗ No better place is free for {pupa.label}; describe one (p on the round).", "-warning")

    def action_done(self) -> None:
        if self.item is not None:
            self.open(self.item)

    def action_steps(self) -> None:
        if self.item is not None:
            self.app.push_screen(Page("Steps and cautions", self.tell(self.item)))

    def action_figures(self) -> None:
        self.with_figures = not self.with_figures
        self._retell()


def _item(one: Proposal) -> Item:
    pupa = one.standing.pupa
    style = _CALM if one.is_left else STYLES[one.standing.verdict.kind]
    goal = f"{pupa.place} → {one.place}" if one.place else pupa.place
    why = one.why if one.is_left else f"{goal} ({one.method})"
    line = Content.assemble(
        (f" {PLAN_WORDS[one.kind]:<10}", style), (f"{shown(pupa.label):<9} ", style), (shown(why), style)
    )
    return Item(pupa.id, line, one)


def _counted(number: int, word: str) -> str:
    return "" if not number else f"{number} {word}" if number == 1 else f"{number} {word}s"
