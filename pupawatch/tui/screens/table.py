"""A table of the keeper's own: what each column is taken for, with examples; brought in as one act."""

import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.binding import BindingType
from textual.content import Content
from textual.worker import get_current_worker

from pupawatch.errors import NotUnderstood, PupawatchError
from pupawatch.exchange.table.proposal import Column, Proposal, Question
from pupawatch.keeper import Keeper
from pupawatch.keeper.drafts import Done
from pupawatch.model.text import counted, shown
from pupawatch.tui.acts import bindings, first_key
from pupawatch.tui.beside import beside
from pupawatch.tui.look import ADVICE, CALM, HEAD
from pupawatch.tui.screens.dialogs import Choice, Field, Form, Pick
from pupawatch.tui.screens.listing import Item, ListScreen

if TYPE_CHECKING:
    from pupawatch.exchange.table.bringing import Table

_TOLD_EVERY_SECONDS = 0.3
_HEADING_CELLS, _FIELD_CELLS = 24, 16
_FAULTS_TOLD = 12


class Left(Exception):
    """The keeper left the screen meanwhile: nothing is written."""


def file_form(keeper: Keeper) -> Form:
    """Asks which file."""

    def keep(values: dict[str, str]) -> Done:
        typed = values["file"].strip().strip("\"'")  # as a path comes that was copied from a file manager
        path = Path(typed).expanduser()
        if not typed or not path.is_file():
            raise NotUnderstood(f"{path} is no file; type its whole path")
        return Done(str(path), [], [])

    hint = "such as ~/pupae.csv or ~/pupae.xlsx"
    return Form("Import a table of your own (CSV, .xlsx, .xls, .ods)", [Field("file", "File", hint=hint)], keep)


class TableScreen(ListScreen):
    """First the questions that nothing in the file decides, then the columns; on the right the examples."""

    SCREEN = "table"
    BINDINGS: ClassVar[list[BindingType]] = bindings(SCREEN)

    def __init__(self, keeper: Keeper, path: Path) -> None:
        super().__init__(keeper)
        self.path = path
        self.table: Table | None = None
        self.doing = "reading"
        self._told_at, self._done = 0.0, ("", 0)

    def on_mount(self) -> None:
        super().on_mount()
        self.read()

    # -- showing

    def headline(self) -> str:
        if self.table is None:
            return f"{self.path.name}: {self.doing or 'not read'}"
        rows = sum(one.rows for one in self.table.proposals)
        told = [counted(rows, "row", "rows")]
        told += [counted(len(self.table.questions()), "question", "questions") + " open"] if self.table.question else []
        return f"{self.path.name}: {', '.join([*told, *([self.doing] if self.doing else [])])}"

    def items(self) -> list[Item]:
        if self.table is None:
            return []
        asked = [(one, question) for one in self.table.proposals for question in one.questions]
        found = [
            Item(
                f"? {one.sheet} {'.'.join(question.key)}",
                Content.assemble((" ? ", ADVICE["soon"]), (shown(question.text), "bold")),
                (one, question),
            )
            for one, question in asked
        ]
        for one in self.table.proposals:
            found += [Item(f"{one.sheet} {n}", _line(column), column) for n, column in enumerate(one.columns)]
        return found

    def tell(self, item: Item | None) -> Content:
        about = item.about if item is not None else None
        if isinstance(about, Column):
            return _told_of(about)
        if isinstance(about, tuple):
            question: Question = about[1]
            answers = [f"- {_answer_words(answer)}" for answer in question.answers] or ["a year, as in 2026"]
            lines = [question.text, "", *answers, "", "Press enter to answer."]
            return Content("\n").join(Content(shown(line)) for line in lines)
        return Content("Reading the table …" if self.doing else "It has no columns to decide about.")

    def open(self, item: Item) -> None:
        """Enter: answer the question, or the whole text of a column."""
        if not isinstance(item.about, tuple):
            super().open(item)
            return
        one, question = item.about

        def answered(answer: str | None) -> None:
            if answer:
                self.settle(one, question, answer)

        if not question.answers:

            def keep(values: dict[str, str]) -> Done:
                if not values["year"].strip().isdecimal():
                    raise NotUnderstood("type a year, as in 2026")
                return Done(values["year"].strip(), [], [])

            form = Form(question.text, [Field("year", "Year", question.suggestion)], keep)
            self.app.push_screen(form, lambda done: answered(done.words if done else None))
            return
        proposed = [question.suggestion] if question.suggestion else []
        answers = [*proposed, *(answer for answer in question.answers if answer not in proposed)]
        pick = Pick(question.text, [Choice(answer, _answer_words(answer)) for answer in answers])
        self.app.push_screen(pick, answered)

    # -- reading, beside the screen

    @beside("table", "reading the table")
    def read(self) -> None:
        """Read the file and propose what its columns are; of a notebook of ours nothing is open."""
        from pupawatch.exchange.notebook import bringing as notebook
        from pupawatch.exchange.notebook.reading import is_notebook
        from pupawatch.exchange.table.bringing import Table

        with self._refusing():
            if is_notebook(self.path):
                with self._own() as own:
                    told = notebook.notebook_preview(own, self.path, self._watch).lines()
                self.app.call_from_thread(self.ask, told, [])
                return
            table = Table(self.keeper, self.path)
            self.app.call_from_thread(self.came, table)

    @beside("table", "reading the table")
    def settle(self, proposal: Proposal, question: Question, answer: str) -> None:
        """Take an answer, and read the table anew with it."""
        with self._refusing():
            if self.table is not None:
                self.table.answer(proposal, question, answer)
                self.app.call_from_thread(self.came, self.table)

    def came(self, table: "Table") -> None:
        """Show what was read."""
        self.table = table
        self.busy("")
        if self.is_attached:
            key = first_key(self.keeper.settings.keys, "bring_in")
            open_ = "Press enter on each question." if table.question else f"If it is right, {key} imports it."
            self.say(open_)

    @contextmanager
    def _refusing(self) -> Iterator[None]:
        try:
            yield
        except PupawatchError as error:
            self.app.call_from_thread(self.refused, str(error))
        except Left:
            pass

    def refused(self, words: str) -> None:
        """Say why it cannot be read or brought in."""
        self.busy("")
        if self.is_attached:
            self.say(f"✗ {words}", "-refused")

    def gave_up(self, group: str) -> None:
        """Show that the work brings nothing."""
        self.busy("")

    # -- bringing in

    def action_bring_in(self) -> None:
        """Show what would come in, and ask."""
        if self.doing:
            return
        if self.table is None:
            self.busy("reading")
            self.read()
            return
        if self.table.question:
            self.say("✗ A question is open: press enter on it.", "-refused")
            return
        self.busy("checking every row")
        self.preview()

    @beside("table", "reading the table")
    def preview(self) -> None:
        """Lay it out as it would come in, with its faults, on a connection of its own."""
        table = self.table
        assert table is not None
        faults: list[str] = []
        with self._refusing(), self._own():
            try:
                with table.laid_out(False, self._watch) as laid:
                    told = laid.told()
            except NotUnderstood as error:
                faults = str(error).splitlines()[1:]
                with table.laid_out(True, self._watch) as laid:
                    told = laid.told()
            self.app.call_from_thread(self.ask, told, faults)

    def ask(self, told: list[str], faults: list[str]) -> None:
        """Ask whether it is to come in."""
        self.busy("")
        if not self.is_attached:
            return
        rest = self.path.with_name(f"{self.path.stem}-left-out.csv")
        yes = f"Import what is sound, and write the other rows to {rest.name}" if faults else "Import it"
        more = faults[:_FAULTS_TOLD] + (
            [f"and {len(faults) - _FAULTS_TOLD} more"] if len(faults) > _FAULTS_TOLD else []
        )
        choices = [Choice("yes", yes), Choice("", "Not now: nothing is written")]
        pick = Pick(f"Import {self.path.name}?", choices, above="\n".join(told), below=shown("\n".join(more)))

        def answered(answer: str | None) -> None:
            if answer:
                self.busy("importing")
                self.bring(rest if faults else None)

        self.app.push_screen(pick, answered)

    @beside("table", "importing the table")
    def bring(self, rest: Path | None) -> None:
        """Bring it in as one act."""
        from pupawatch.exchange.notebook import bringing as notebook

        with self._refusing(), self._own() as own:
            if self.table is None:
                written = notebook.notebook_in(own, self.path, self._watch)[1]
            else:
                written = self.table.bring_in(rest, self._watch)
            self.app.call_from_thread(self.brought, own, written)

    def brought(self, own: Keeper, written: int) -> None:
        """Show that it is in."""
        self.busy("")
        self.keeper.settings = own.settings  # it may have named new places
        self.keeper.refresh()
        if self.is_attached:
            self.kept(Done(f"{counted(written, 'entry', 'entries')} imported.", [], []))

    @contextmanager
    def _own(self) -> Iterator[Keeper]:
        """The keeper on a connection of this thread; what it does is undone here."""
        with closing(self.keeper.elsewhere()) as own:
            own.session = self.keeper.session
            if self.table is not None:
                self.table.keeper = own
            yield own

    def _watch(self, what: str, more: int, of: int) -> None:
        """How far it has come, a few times a second; nothing more is done once the keeper has left."""
        if not self.is_attached or get_current_worker().is_cancelled:
            raise Left
        before, done = self._done
        self._done = what, more + (done if before == what else 0)
        now = time.monotonic()
        if now - self._told_at >= _TOLD_EVERY_SECONDS:
            self._told_at = now
            self.app.call_from_thread(self.busy, f"{what} {self._done[1]} of {of}; esc stops it")

    def busy(self, words: str) -> None:
        """Say at the top what is being done."""
        self.doing, self._done = words, self._done if words else ("", 0)
        if self.is_attached:
            self.refill()


def _line(column: Column) -> Content:
    unread = f"  {counted(column.unread, 'cell', 'cells')} not read" if column.unread else ""
    heading = shown(column.heading)
    return Content.assemble(
        (f"   {heading[:_HEADING_CELLS]:<{_HEADING_CELLS}} ", "bold"),
        (f"{_words(column.field):<{_FIELD_CELLS}}", CALM if column.field in ("note", "skip") else ""),
        (unread, ADVICE["soon"]),
    )


def _told_of(column: Column) -> Content:
    lines = [
        Content.assemble((shown(column.heading), "bold"), f"  {_words(column.field)}"),
        Content.styled(shown(f"By {column.why}."), CALM),
        Content(""),
        Content.styled("EXAMPLES" if column.examples else "", HEAD),
        *(Content(shown(f"{before} → {after}")) for before, after in column.examples),
    ]
    if column.unread:
        told = counted(column.unread, "cell", "cells")
        lines.append(Content.styled(f"{told} could not be read.", "$text-warning"))
    return Content("\n").join(lines)


def _answer_words(answer: str) -> str:
    """An answer as a keeper reads it; what is written keeps its code."""
    if answer == "note":
        return "nothing that is counted: into the note"
    kind, _, cause = answer.partition(":")
    return f"no butterfly: {cause.replace('-', ' ')}" if kind == "loss" and cause else answer


def _words(field: str) -> str:
    return {"skip": "left out", "note": "into the note"}.get(field, field.replace("_", " "))
