"""The plan of the morning: what to hang where, and what to leave alone, with the reason of each."""

from collections.abc import Callable
from typing import ClassVar

from textual.binding import BindingType
from textual.content import Content
from textual.widgets import OptionList

from pupawatch.care.round import Plan, Proposal, Round
from pupawatch.keeper import Keeper
from pupawatch.keeper.drafts import Done
from pupawatch.model.codes import PROPOSED
from pupawatch.model.settings import Method
from pupawatch.model.text import counted, shown
from pupawatch.tui.acts import bindings, first_key
from pupawatch.tui.beside import beside
from pupawatch.tui.forecasting import Forecasting
from pupawatch.tui.look import ADVICE, CALM, HEAD
from pupawatch.tui.screens.dialogs import Choice, Pick
from pupawatch.tui.screens.listing import Item, ListScreen
from pupawatch.tui.screens.page import Page
from pupawatch.words.methods import how_words
from pupawatch.words.moves import PLAN_WORDS, TOSS_UP, figures, tomorrow_line


class PlanScreen(ListScreen):
    """Worked out beside the screen's thread, and anew after every act."""

    SCREEN = "plan"
    BINDINGS: ClassVar[list[BindingType]] = bindings(SCREEN)

    def __init__(self, keeper: Keeper, forecasting: Forecasting) -> None:
        """forecasting: what works the plan out, as for the round."""
        super().__init__(keeper)
        self._forecasting = forecasting
        self.plan: Plan | None = None
        self.morning: Round | None = None
        self.with_figures = False
        self.failed = False
        self._go_on = False
        """Whether the cursor goes to the first proposal that is left, once the plan is worked out anew."""

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
            if self._go_on:
                self._go_on = False
                self.query_one("#shelf", OptionList).highlighted = 0 if self.listed else None

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
        told = [
            _counted(rescues, "rescue"),
            _counted(climbs, "aid"),
            f"{counted(moves, 'move', 'moves')} of at most {plan.moves_left}",
        ]
        less, low, high = plan.risk_now - plan.risk_planned, max(0.0, plan.saved_low), max(0.0, plan.saved_high)
        fewer = f"{less:.1f} fewer bad emergences (4 in 5: {low:.1f}–{high:.1f})"
        return f"Plan: {', '.join(word for word in told if word)}; {fewer}"

    def tell(self, item: Item | None) -> Content:
        if item is None or not isinstance(item.about, Proposal) or self.morning is None:
            return Content("" if self.failed else "Comparing pupae and places …")
        one = item.about
        pupa = one.standing.pupa
        lines = [
            Content.assemble((shown(pupa.label), "bold"), f"  {shown(pupa.place)}"),
            Content(shown(f"{one.why[:1].upper()}{one.why[1:]}.")),
        ]
        lines += [Content.styled(shown(f"{TOSS_UP[:1].upper()}{TOSS_UP[1:]}."), "$text-warning")] if one.toss_up else []
        if self.plan is not None and (tomorrow := tomorrow_line(self.plan)):
            lines.append(Content.styled(shown(tomorrow), CALM))
        if self.with_figures:
            lines += [Content.styled(shown(line), "$text-accent") for line in figures(one, self.morning.picture)]
        if ways := self._ways_of(one):
            lines += [Content(""), Content.styled("DO", HEAD)]
        for way in ways:
            lines.append(Content.styled(shown(f"{way.words[:1].upper()}{way.words[1:]}:"), "bold"))
            lines += [Content.styled(shown(f"! {caution}"), "$text-warning") for caution in way.cautions]
            lines += [Content(shown(f"{number}. {step}")) for number, step in enumerate(way.steps, start=1)]
        return Content("\n").join(lines)

    def open(self, item: Item) -> None:
        """Enter: the whole text of a proposal, with its steps and cautions."""
        self.app.push_screen(Page("Steps and cautions", self.tell(item)))

    def action_steps(self) -> None:
        if self.item is not None:
            self.open(self.item)

    def action_done(self) -> None:
        """Record that it was done as proposed, after the steps and cautions were shown."""
        one = self.item.about if self.item is not None else None
        if not isinstance(one, Proposal):
            return
        pupa = one.standing.pupa
        if one.is_left:
            self.say(f"{pupa.label} stays: {one.why}.")
        elif one.kind == "climb":
            self._ask_done(one, "Yes, a climbing aid is within its reach", lambda: self.keeper.moves.climb(pupa))
        elif one.place:
            goal = f"Yes, {pupa.place} → {one.place}, {how_words(one.method)}"
            self._ask_done(one, goal, lambda: self.keeper.moves.move(pupa, one.place, one.method, reason=one.why))
        else:
            key = first_key(self.keeper.settings.keys, "places")
            self.say(f"✗ No better place is free for {pupa.label}; describe one ({key} on the round).", "-warning")

    def _ask_done(self, one: Proposal, goal: str, do: Callable[[], Done]) -> None:
        def answered(answer: str | None) -> None:
            if answer:
                self._go_on = True
                self.act(do)

        label = one.standing.pupa.label
        choices = [Choice("yes", goal), Choice("", "Not yet: record nothing")]
        self.app.push_screen(Pick(f"Was it done for {label}?", choices, below=self._ways(one)), answered)

    def _ways(self, one: Proposal) -> str:
        """The steps and cautions of a proposal, a line each."""
        told: list[str] = []
        for way in self._ways_of(one):
            told.append(f"{way.words[:1].upper()}{way.words[1:]}:")
            told += [f"! {caution}" for caution in way.cautions]
            told += [f"{number}. {step}" for number, step in enumerate(way.steps, start=1)]
        return "\n".join(shown(line) for line in told)

    def _ways_of(self, one: Proposal) -> list[Method]:
        methods = self.keeper.settings.care.methods
        return [*one.standing.ways, *([methods[one.method]] if one.method in methods else [])]

    def action_figures(self) -> None:
        self.with_figures = not self.with_figures
        self._retell()


def _item(one: Proposal) -> Item:
    pupa = one.standing.pupa
    style = CALM if one.is_left else ADVICE[one.standing.verdict.kind]
    mine = CALM if one.is_left else "bold" if one.standing.verdict.kind == "rescue" else style
    goal = f"{pupa.place} → {one.place}" if one.place else pupa.place
    how = f", {how_words(one.method)}" if one.place else ""
    why = one.why if one.is_left else f"{goal}{how}"
    line = Content.assemble(
        (f" {'prepupa' if one.kind == 'soft' and pupa.is_prepupa else PLAN_WORDS[one.kind]:<11}", style),
        (f" {shown(pupa.label):<8} ", mine),
        (shown(why), mine),
    )
    return Item(pupa.id, line, one)


def _counted(number: int, word: str) -> str:
    return "" if not number else f"{number} {word}" if number == 1 else f"{number} {word}s"
