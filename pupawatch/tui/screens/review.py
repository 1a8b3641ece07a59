"""What the season taught: the review by one factor after another, and the score of the forecasts."""

from contextlib import closing
from typing import ClassVar
from zoneinfo import ZoneInfo

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container, VerticalScroll
from textual.content import Content
from textual.widgets import Static
from textual.widgets.option_list import Option

from pupawatch.errors import PupawatchError
from pupawatch.keeper import Keeper
from pupawatch.model.broods import BroodTold
from pupawatch.model.pupa import Pupa
from pupawatch.model.text import shown
from pupawatch.review.compare import ranking
from pupawatch.review.factors import FACTORS, Season
from pupawatch.review.fair import ended
from pupawatch.review.pictures import interval_rows
from pupawatch.tui.acts import bindings
from pupawatch.tui.beside import beside
from pupawatch.tui.look import CALM, HEAD
from pupawatch.tui.screens.answering import AnsweringScreen
from pupawatch.tui.widgets.ends import Ends
from pupawatch.tui.widgets.lines import Lines

SCORE = "forecast score"
_WORKING = "Working out the rest …"
_NARROWEST = 40
_WIDEST = 110


class ReviewScreen(AnsweringScreen):
    """The questions at the left, the answer at the right. The first picture stands at once; what needs statistics
    follows from a worker thread."""

    SCREEN = "review"
    BINDINGS: ClassVar[list[BindingType]] = [
        *bindings(SCREEN),
        Binding("pagedown,space", "scroll(15)", priority=True),  # before the list of questions takes it
        Binding("pageup,backspace", "scroll(-15)", priority=True),
    ]

    def __init__(self, keeper: Keeper) -> None:
        super().__init__()
        self.keeper = keeper
        self.questions = [*FACTORS, SCORE]
        self.at = 0
        self.crossed = False
        self.pupae: list[Pupa] = []
        self.broods: list[BroodTold] = []
        self.lines: list[str] = []
        self._drawn_for = 0

    def compose(self) -> ComposeResult:
        yield Ends(id="headline")
        with Container(id="body"):
            yield Lines(*(Option(Content(f" {question}")) for question in self.questions), id="questions")
            with VerticalScroll(id="page", can_focus=False):
                yield Static("", id="lines", markup=False)
        yield Static("", id="said", markup=False)
        yield Ends(id="keys", gap=2)

    def on_mount(self) -> None:
        self.pupae = list(self.keeper.whole_state().pupae.values())
        self.broods = list(self.keeper.broods.known(self.pupae).values())
        questions = self.query_one("#questions", Lines)
        questions.focus()
        questions.highlighted = 0
        self.show_foot()
        self.call_after_refresh(self.turn_to, 0)  # how wide the page is shows only then

    def on_resize(self) -> None:
        """Draw the page for the width it has now."""
        if self.pupae and self._drawn_for not in (0, self._width()):
            self.turn_to(self.at)

    @property
    def by(self) -> str:
        """The question on the screen, as ``review --by`` takes it."""
        question = self.questions[self.at]
        return f"{question},moved" if self.crossed and question not in ("moved", SCORE) else question

    def turn_to(self, at: int) -> None:
        """Show another question."""
        self.at = at % len(self.questions)
        self.query_one("#questions", Lines).highlighted = self.at
        title = Content.styled(shown(self.by.replace(",", " × ")), "bold")
        told = Content.styled("what your records show", CALM)
        self.query_one("#headline", Ends).show([title, told], Content(f"{self.at + 1} of {len(self.questions)}"))
        page = self.query_one("#page", VerticalScroll)
        page.scroll_home(animate=False)
        self._drawn_for = self._width()
        if self.by == SCORE:
            self.show_lines(["Replaying past mornings …"])
        else:
            old = ended(Season(self.pupae, self.keeper.settings, self.keeper.clock()))
            ranked = ranking(old.counts(self.by), self.keeper.settings.care.review)
            first = {one.group: one.rate for one in ranked.standings} | ranked.too_few
            self.show_lines(["SUCCESS", *interval_rows(first, self._width()), "", _WORKING])
        self.work_out(self.by)

    @on(Lines.OptionHighlighted, "#questions")
    def turned(self, event: Lines.OptionHighlighted) -> None:
        """The cursor went to another question."""
        if event.option_index != self.at:
            self.turn_to(event.option_index)

    def show_lines(self, lines: list[str]) -> None:
        """Show the page: its first sentence and the small headings in weight."""
        self.lines = lines
        self.query_one("#lines", Static).update(Content("\n").join(_styled(line) for line in lines))

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
            self.show_lines([*self.lines[:-1], "The rest could not be worked out."])

    def _came(self, by: str, lines: list[str]) -> None:
        if by == self.by:  # the keeper may have turned on
            self.show_lines(lines)

    def _progress(self, by: str, words: str) -> None:
        """Put how far it is instead of the last line."""
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
        return min(_WIDEST, max(_NARROWEST, self.query_one("#page").size.width - 3))

    def action_next_question(self) -> None:
        self.turn_to(self.at + 1)

    def action_previous_question(self) -> None:
        self.turn_to(self.at - 1)

    def action_cross(self) -> None:
        self.crossed = not self.crossed
        self.turn_to(self.at)

    def action_scroll(self, lines: int) -> None:
        self.query_one("#page", VerticalScroll).scroll_relative(y=lines, animate=False)

    def action_report(self) -> None:
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
        self.app.call_from_thread(self.say, said)


def _styled(line: str) -> Content:
    """A line of the page: headings, in capitals, are small and muted."""
    return Content.styled(shown(line), HEAD if line.isupper() else "")
