"""A keeper's own table brought into a journal: read by proposal, previewed, then one act with one undo."""

import csv
import io
from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

from pupawatch.errors import NotUnderstood
from pupawatch.exchange import new_file
from pupawatch.exchange.cells import guarded
from pupawatch.exchange.notebook import bringing as notebook
from pupawatch.exchange.notebook.reading import Reader
from pupawatch.exchange.notebook.row import Problem
from pupawatch.exchange.progress import Watch, unwatched
from pupawatch.exchange.staging import Staging
from pupawatch.exchange.table import mapping as mappings
from pupawatch.exchange.table import sheets, words
from pupawatch.exchange.table.mapping import Mapping
from pupawatch.exchange.table.proposal import REASON, Line, Proposal, Question, propose
from pupawatch.keeper import Keeper
from pupawatch.model.entries import Belongs, Emerged, Entry, Lost, Marked, Moved, Note, Released, Seen, Sexed, Wings
from pupawatch.model.settings import Place
from pupawatch.model.state import State
from pupawatch.model.text import counted
from pupawatch.words.entries import entry_words

_ONCE = (Emerged, Wings, Sexed, Lost, Released, Belongs, Marked)
"""What is recorded once of a pupa; recorded otherwise again it is a cell that was changed."""
_OFTEN = (Moved, Seen, Note)


class Left(NamedTuple):
    """A row that cannot come in, with its reason."""

    line: Line
    reason: str


class Table:
    """A file of a keeper's tables, its reading, and the answers to what it asks."""

    def __init__(self, keeper: Keeper, path: Path, given: list[Mapping] | None = None) -> None:
        """given: mappings that count before those that are kept.

        Raises NotUnderstood where no sheet has a header of a keeper's table, Unusable where it cannot be read.
        """
        self.keeper = keeper
        self._words = words.load(keeper.folder)
        self._sheets = sheets.read(path)
        self._known = [*(given or []), *mappings.load(mappings.kept_in(keeper.folder))]
        self._answers: dict[str, Mapping] = {}
        self.proposals: list[Proposal] = []
        self._read_all()
        if not self.proposals:
            raise NotUnderstood(
                f"{path}: no row looks like the headings of a table of pupae. Head at least two columns by "
                "words such as “No.” and “Pupated”, or add your own words to tables.toml in your settings folder."
            )

    @property
    def question(self) -> tuple[Proposal, Question] | None:
        """The first question that is open, with the reading it belongs to; None where none is."""
        return next(((one, question) for one in self.proposals for question in one.questions), None)

    def questions(self) -> list[Question]:
        """All that are open."""
        return [question for one in self.proposals for question in one.questions]

    def answer(self, proposal: Proposal, question: Question, answer: str) -> None:
        """Take an answer. Raises NotUnderstood where it is none of those that are possible."""
        if question.answers and answer not in question.answers:
            raise NotUnderstood(f"{answer!r} is not one of {', '.join(question.answers)}.")
        kept = self._answers.get(proposal.sheet) or next(
            (one.copy() for one in self._known if one.header == proposal.header), Mapping(proposal.header)
        )
        kept.answer(question.key, answer)
        self._answers[proposal.sheet] = kept
        self._read_all()

    @property
    def is_new(self) -> bool:
        """Whether a sheet has a header that no mapping is given or kept for."""
        headers = [one.header for one in self._known]
        return any(one.header not in headers for one in self.proposals)

    def told(self) -> list[str]:
        """The readings in words."""
        return [line for proposal in self.proposals for line in proposal.told()]

    def mapping_file(self) -> str:
        """A mapping file to fill in: what is decided, and what is open as comments and empty answers."""
        made, notes = [], ["Fill in every empty answer and import again with --map and this file.", ""]
        for proposal in self.proposals:
            open_ = proposal.mapping.copy()
            for question in proposal.questions:
                notes += [question.text, f"  {'.'.join(question.key)}: {' | '.join(question.answers) or '(a year)'}"]
                if question.key[0] == "label":
                    notes.append('  below [tables.columns], as in: "No." = "label"')
                elif question.key[0] == "years":
                    open_.years[question.key[1]] = 0
                else:
                    open_.answer(question.key, question.suggestion)
            made.append(open_)
        return mappings.text(made, notes)

    @contextmanager
    def laid_out(self, leaving: bool, watch: Watch = unwatched) -> Iterator["Laid"]:
        """Lay out what would come in, to be looked at and brought in. leaving: without the pupae that have a cell that
        cannot be understood.

        Raises NotUnderstood where a question is open, and, unless they are left out, with every bad cell.
        """
        if self.questions():
            raise NotUnderstood("Nothing was imported; these questions are open:\n" + "\n".join(self._open()))
        lines = [(one, line) for one in self.proposals for line in one.lines]
        wrong: dict[str, list[str]] = defaultdict(list)
        for one in self.proposals:
            for problem in one.problems:
                wrong[one.labels.get(problem.line, "")].append(self._where(one, problem))
        while True:
            sound = [line for line in lines if line[1].label not in wrong]
            with Staging() as staging:
                more = self._read(staging, sound, watch) or self._changed(staging)
                for label, reasons in more.items():
                    wrong[label] += reasons
                if wrong and not leaving:
                    told = [reason for reasons in wrong.values() for reason in reasons]
                    raise NotUnderstood("Nothing was imported; correct these cells first:\n" + "\n".join(told))
                if more:
                    continue
                left = [Left(line, "; ".join(wrong[line.label])) for _, line in lines if line.label in wrong]
                rows = sum(len(line.originals) for _, line in sound)
                yield Laid(self, staging, notebook.previewed(self.keeper, staging, rows), left)
                return

    def bring_in(self, leave_out: Path | None = None, watch: Watch = unwatched) -> int:
        """Lay it out and bring it in; how many entries were written. Raises as ``laid_out``."""
        with self.laid_out(leave_out is not None, watch) as laid:
            return laid.bring_in(leave_out, watch)

    # -- inside

    def _read_all(self) -> None:
        found = []
        for sheet in self._sheets:
            answers = self._answers.get(sheet.name)
            known = [answers] if answers else self._known
            found.append(propose(sheet, self.keeper.settings, self._words, known))
        self.proposals = [one for one in found if one]

    def _open(self) -> Iterator[str]:
        for question in self.questions():
            yield f"{question.text} ({' | '.join(question.answers) or 'a year'})"

    def _where(self, proposal: Proposal, problem: Problem) -> str:
        sheet = f"{proposal.sheet}, " if proposal.sheet else ""
        return f"{sheet}line {problem.line}, {problem.column}: {problem.reason}"

    def _read(self, staging: Staging, lines: list[tuple[Proposal, Line]], watch: Watch) -> dict[str, list[str]]:
        """Lay these rows out; what is wrong with them, by label."""
        keeper = self.keeper
        reader = Reader(keeper.settings, keeper.clock(), notebook.known_pupae(keeper, staging), staging)
        wrong: dict[str, list[str]] = defaultdict(list)
        for one, line in lines:
            for row in line.rows:
                before = len(reader.problems)
                cells = {name: guarded(cell) if name in _TEXTS else cell for name, cell in row.items()}
                staging.put(reader.row(line.number, list(cells), list(cells.values())))
                for problem in reader.problems[before:]:
                    wrong[line.label].append(self._where(one, problem))
            watch("reading", 1, len(lines))
        return wrong

    def _changed(self, staging: Staging) -> dict[str, list[str]]:
        """What the journal knows otherwise of a pupa it knows already, by label: nothing is told twice."""
        keeper = self.keeper
        held = set(keeper.journal.pupa_ids())
        retractions = keeper.journal.retractions()
        wrong: dict[str, list[str]] = {}
        for pupa, drafts in staging.by_pupa() if held else ():
            if pupa not in held:
                continue
            state = State(retractions)
            for some in keeper.journal.read_about(pupa):
                state.add(some)
            if pupa not in state.pupae:
                continue
            told = state.pupae[pupa]
            fresh = [entry for batch in keeper.unknown([drafts]) for entry in batch]
            if reasons := list(_otherwise(drafts, fresh, told.entries)):
                wrong[told.label] = [f"{told.label}: {reason}" for reason in reasons]
        return wrong


class Laid:
    """A table laid out: what would come in, and the rows left out."""

    def __init__(self, table: Table, staging: Staging, preview: notebook.Preview, left: list[Left]) -> None:
        self._table, self._staging, self._preview, self.left = table, staging, preview, left

    def told(self) -> list[str]:
        """The preview in words."""
        told = self._preview.lines()
        if self.left:
            told.append(f"{counted(len(self.left), 'row', 'rows')} left out, with the reason of each.")
        return told

    def bring_in(self, leave_out: Path | None, watch: Watch = unwatched) -> int:
        """Bring it in as one act, keep its mapping, and write the rows left out to a file, where one is named; how many
        entries were written."""
        keeper, places = self._table.keeper, self._preview.unknown_places
        keeper.places.check_can_be_added(places)
        if leave_out and self.left:
            new_file.write(leave_out, self._rows_left())
        written = keeper.bring_in(notebook.watched(self._staging.batches(), len(self._staging), watch))
        keeper.places.add(Place(name=name) for name in places)
        mappings.keep(keeper.folder, [proposal.mapping for proposal in self._table.proposals])
        return written

    def _rows_left(self) -> str:
        """The rows left out as a table to be corrected and brought in again."""
        text = io.StringIO()
        writer = csv.writer(text)
        header: list[str] = []
        for one in self._table.proposals:
            numbers = {id(line) for line in one.lines}
            some = [each for each in self.left if id(each.line) in numbers]
            if some and header != one.header:
                header = one.header
                writer.writerow([*map(guarded, header), REASON])
            writer.writerows(
                [*map(guarded, cells), guarded(each.reason)] for each in some for cells in each.line.originals
            )
        return text.getvalue()


_TEXTS = frozenset({"label", "site", "moved_to", "emerged_place", "mark", "brood", "note"})
"""Cells from which reading a notebook takes the guard off."""


def _otherwise(drafts: list[Entry], fresh: list[Entry], known: Iterable[Entry]) -> Iterator[str]:
    """What the journal holds otherwise of a pupa. fresh: the drafts that it does not hold."""
    by_kind: dict[type, list[Entry]] = defaultdict(list)
    for entry in known:
        by_kind[type(entry)].append(entry)
    for entry in fresh:
        before = by_kind[type(entry)]
        same = [one for one in before if one.history] if isinstance(entry, _OFTEN) else before
        held = sum(type(one) is type(entry) for one in drafts) - sum(type(one) is type(entry) for one in fresh)
        if (isinstance(entry, _ONCE) and before) or (isinstance(entry, _OFTEN) and len(same) > held):
            yield (
                f"the table says “{entry_words(entry)}”, and the journal holds “{entry_words(same[-1])}” already; "
                "a table adds and corrects nothing. If the table is right, undo that entry first"
            )
