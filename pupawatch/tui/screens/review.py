"""What the season taught: the review by one factor after another, and the score of the forecasts."""

from contextlib import closing
from typing import ClassVar
from zoneinfo import ZoneInfo

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Footer, Label, Static

from pupawatch.errors import PupawatchError
from pupawatch.keeper import Keeper
from pupawatch.model.broods import BroodTold
from pupawatch.model.pupa import Pupa
from pupawatch.model.text import shown
from pupawatch.review.compare import ranking
from pupawatch.review.factors import FACTORS, Season
from pupawatch.review.fair import ended
from pupawatch.review.pictures import interval_rows
from pupawatch.tui.beside import beside

SCORE = "forecast score"
_WORKING = "Working out the rest …"
_NARROWEST = 60
_WIDEST = 110


class ReviewScreen(Screen[None]):
    """A page of the review. The first picture stands at once; what needs statistics follows from a worker thread."""

    BINDINGS: ClassVar[list[BindingType]] = [
        ("right,l", "turn(1)", "Next question"),
        ("left,h", "turn(-1)", "Before"),
        ("x", "cross", "× moved"),
        ("w", "write", "Write report"),
        ("escape,q,S", "dismiss", "Back"),
        ("down,j", "scroll(1)", ""),
        ("up,k", "scroll(-1)", ""),
        ("pagedown,space", "scroll(15)", ""),
        ("pageup", "scroll(-15)", ""),
    ]

    def __init__(self, keeper: Keeper) -> None:
        super().__init__()
        self.keeper = keeper
        self.questions = [*FACTORS, SCORE]
        self.at = 0
        self.crossed = False
        self.pupae: list[Pupa] = []
        self.broods: list[BroodTold] = []

    def compose(self) -> ComposeResult:
        yield Label("", classes="title", markup=False)
        with VerticalScroll(id="page", can_focus=False):
            yield Static("", id="lines", markup=False)
        yield Label("", id="answer", markup=False)
        yield Footer(compact=True, show_command_palette=False)

    def on_mount(self) -> None:
        self.pupae = list(self.keeper.whole_state().pupae.values())
        self.broods = list(self.keeper.broods.known(self.pupae).values())
        self.turn_to(0)

    @property
    def by(self) -> str:
        """The question on the screen, as ``review --by`` takes it."""
        question = self.questions[self.at]
        return f"{question},moved" if self.crossed and question not in ("moved", SCORE) else question

    def turn_to(self, at: int) -> None:
        """Show another question."""
        self.at = at % len(self.questions)
        self.query_one(".title", Label).update(shown(f"◂ {self.by.replace(',', ' × ')} ▸   what your records show"))
        page = self.query_one("#page", VerticalScroll)
        page.scroll_home(animate=False)
        if self.by == SCORE:
            self.show_lines(["Replaying past mornings …"])
        else:
            old = ended(Season(self.pupae, self.keeper.settings, self.keeper.clock()))
            ranked = ranking(old.counts(self.by), self.keeper.settings.care.review)
            first = {one.group: one.rate for one in ranked.standings} | ranked.too_few
            self.show_lines(["SUCCESS", *interval_rows(first, self._width()), "", _WORKING])
        self.work_out(self.by)

    def show_lines(self, lines: list[str]) -> None:
        self.query_one("#lines", Static).update(Content("\n".join(shown(line) for line in lines)))

    @beside("review", "working out the review")
    def work_out(self, by: str) -> None:
        try:
            lines = self._score() if by == SCORE else self._page(by)
        except PupawatchError as error:
            lines = [str(error)]
        self.app.call_from_thread(self._came, by, lines)

    def gave_up(self, group: str) -> None:
        """Say that no more comes; the first picture stays."""
        if group == "review":
            lines = str(self.query_one("#lines", Static).content).split("\n")
            self.show_lines([*lines[:-1], "The rest could not be worked out."])

    def _came(self, by: str, lines: list[str]) -> None:
        if by == self.by:  # the keeper may have turned on
            self.show_lines(lines)

    def _progress(self, by: str, words: str) -> None:
        """Put how far it is in the stead of the last line."""
        lines = str(self.query_one("#lines", Static).content).split("\n")
        if by == self.by and lines[-1].startswith(_WORKING):
            self.show_lines([*lines[:-1], words])

    def _page(self, by: str) -> list[str]:
        from pupawatch.review.page import page
        from pupawatch.words.review_page import lines

        def watch(done: int, of: int) -> None:
            self.app.call_from_thread(self._progress, by, f"{_WORKING} {done} of {of} questions answered.")

        told = page(self.pupae, self.keeper.settings, self.keeper.clock(), by, broods=self.broods, watch=watch)
        return lines(told, self._width())

    def _score(self) -> list[str]:
        from pupawatch.keeper.outlook import scores
        from pupawatch.words.forecast import score_lines

        with closing(self.keeper.elsewhere()) as own:
            told = [line for name, score in scores(own, own.clock()) for line in [*score_lines(name, score), ""]]
        return told or ["Nothing to score yet: no pupa with a known pupation time has emerged."]

    def _width(self) -> int:
        return min(_WIDEST, max(_NARROWEST, self.size.width - 3))

    def action_turn(self, step: int) -> None:
        self.turn_to(self.at + step)

    def action_cross(self) -> None:
        self.crossed = not self.crossed
        self.turn_to(self.at)

    def action_scroll(self, lines: int) -> None:
        self.query_one("#page", VerticalScroll).scroll_relative(y=lines, animate=False)

    def action_write(self) -> None:
        """Write the page as a report into the folder of the journal."""
        if self.by != SCORE:
            self.write_report(self.by)

    @beside("report", "writing the report")
    def write_report(self, by: str) -> None:
        from pupawatch.exchange import report
        from pupawatch.review.page import page

        now = self.keeper.clock()
        stamp = now.astimezone(ZoneInfo(self.keeper.settings.zone)).strftime("%Y-%m-%d-%H%M%S")
        path = self.keeper.path.with_name(f"review-{by.replace(',', '-')}-{stamp}.html")
        try:
            report.write(page(self.pupae, self.keeper.settings, now, by, broods=self.broods), path)
            said = f"✓ The report is in {path}; it opens in any browser."
        except PupawatchError as error:
            said = f"✗ {error}"
        self.app.call_from_thread(self.query_one("#answer", Label).update, shown(said))
