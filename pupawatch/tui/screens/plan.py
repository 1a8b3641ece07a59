"""The plan of the morning: what to hang where, and what to leave in peace, with the reason of each."""

from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.content import Content

from pupawatch.care import plan as plans
from pupawatch.care import rescue
from pupawatch.care.plan import Plan, Proposal
from pupawatch.care.round import Round, walk
from pupawatch.keeper import Keeper
from pupawatch.model.codes import PROPOSED
from pupawatch.model.text import shown
from pupawatch.tui.beside import beside
from pupawatch.tui.screens.listing import Item, ListScreen
from pupawatch.tui.screens.page import Page
from pupawatch.tui.widgets.shelf import STYLES
from pupawatch.words.moves import PLAN_WORDS, figures

_CALM = "$foreground 70%"


class PlanScreen(ListScreen):
    """Worked out beside the screen's thread, and anew after every act."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "done", "Done so", tooltip="it was done as proposed: write the move (or the climb) down"),
        Binding("x", "figures", "Numbers", tooltip="the numbers behind a proposal, or without them"),
        Binding("s", "steps", "Steps", tooltip="all the steps and cautions of a proposal"),
        Binding("g", "back", tooltip="back to the round"),
    ]
    FOOT: ClassVar[tuple[str, ...]] = ("done", "steps", "figures", "undo")

    def __init__(self, keeper: Keeper) -> None:
        super().__init__(keeper)
        self.plan: Plan | None = None
        self.morning: Round | None = None
        self.with_figures = False
        self.failed = False

    def refill(self) -> None:
        """Begin to work the plan out anew; what stands there stays until it comes."""
        if self.plan is None:
            super().refill()
        keeper, self._state = self.keeper, self.keeper.state
        self.work_out(walk(keeper.state, keeper.clock(), keeper.settings, records=keeper.moves.place_records()))

    @beside("plan", "working out the plan")
    def work_out(self, morning: Round) -> None:
        """Solve the plan; it takes scipy, which is slow to load."""
        plan = plans.plan(morning)
        self.app.call_from_thread(self.came, morning, plan)

    def came(self, morning: Round, plan: Plan) -> None:
        """Show a plan that was worked out."""
        if self.is_attached:
            self.morning, self.plan, self.failed = morning, plan, False
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
            return "Plan: nothing to move this morning; leave them in peace"
        rescues, climbs, moves = (sum(one.kind == kind for one in plan.proposals) for kind in PROPOSED)
        told = [_counted(rescues, "rescue"), _counted(climbs, "climb"), f"{moves} of {plan.moves_left} moves"]
        less = plan.risk_now - plan.risk_planned
        return f"Plan: {', '.join(word for word in told if word)}; {less:.1f} fewer bad emergences"

    def tell(self, item: Item | None) -> Content:
        if item is None or not isinstance(item.about, Proposal) or self.morning is None:
            return Content("" if self.failed else "Every pupa is weighed against every place; a moment.")
        one, care = item.about, self.keeper.settings.care
        pupa = one.standing.pupa
        lines = [
            Content.assemble((shown(pupa.label), "bold"), f"  {shown(pupa.place)}"),
            Content(shown(f"{one.why[:1].upper()}{one.why[1:]}.")),
        ]
        if self.with_figures:
            lines += [Content.styled(shown(line), "$text-accent") for line in figures(one, self.morning.ground)]
        ways = [rescue.at_once(pupa, one.standing.stage, care)] if one.kind == "rescue" else []
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
