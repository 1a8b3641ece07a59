"""The notebook a keeper brings: read whole or not at all, kept as it was, known again, and written back without loss.

The traps are those of real rearing files (common practice, no source): dates without times, "NA", two animals under one
number, "pupated" meaning hanging, moves that came too early, spreadsheets that see a formula in "=1+1".
"""

import csv
import io
import itertools
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pupawatch.errors import AskFirst, NotUnderstood, Unusable
from pupawatch.exchange.cells import guarded
from pupawatch.exchange.notebook import bringing as bring
from pupawatch.exchange.notebook import reading as notebook
from pupawatch.exchange.notebook import writing as notebook_out
from pupawatch.exchange.notebook.reading import COLUMNS
from pupawatch.exchange.staging import Staging
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.model.entries import Entry
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings
from pupawatch.model.state import State
from pupawatch.model.times import Span

NOW = datetime(2026, 9, 8, 11, 40, tzinfo=UTC)
Bring = Callable[[str | bytes], int]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "notebook.csv"


@pytest.fixture
def take_in(keeper: Keeper, path: Path) -> Bring:
    """Bring in a notebook with this text; how many entries were written."""

    def take_in(text: str | bytes) -> int:
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return bring.notebook_in(keeper, path)[1]

    return take_in


@pytest.fixture
def problems(keeper: Keeper, take_in: Bring, path: Path) -> Callable[[str], list[str]]:
    """What is wrong with a notebook of this text, a sentence each; nothing of it may have been written."""

    def problems(text: str) -> list[str]:
        before = keeper.journal.last()
        with pytest.raises(NotUnderstood) as raised:
            take_in(text)
        assert keeper.journal.last() == before
        title, *told = str(raised.value).split("\n")
        assert title == "Nothing was imported; correct these cells first:"
        return [line.removeprefix(f"{path}, ") for line in told]

    return problems


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).astimezone(UTC)


def everything(pupa: Pupa) -> tuple[Any, ...]:
    """All that is known of a pupa, apart from ids and when it was recorded."""

    def told(entry: Any) -> Any:
        return entry and (
            entry.since or entry.happened,
            entry.happened,
            *(getattr(entry, name, "") for name in ("stage", "reason", "condition", "code", "cause", "place")),
        )

    return (
        pupa.label,
        pupa.species,
        pupa.site,
        pupa.place,
        pupa.hanging_at,
        pupa.formed_from,
        pupa.formed_to,
        [told(seen) for seen in pupa.sightings],
        pupa.danger,
        [told(fall) for fall in pupa.falls],
        [(told(m.entry), m.origin, m.entry.to, m.entry.method, m.entry.emergency) for m in pupa.relocations],
        [told(entry) for entry in (pupa.emerged, pupa.wings, pupa.marked, pupa.released, pupa.lost)],
        pupa.sex,
        pupa.notes,
        pupa.flags,
    )


def told_by(state: State) -> list[tuple[Any, ...]]:
    return sorted((everything(pupa) for pupa in state.pupae.values()), key=repr)


def state_of(keeper: Keeper) -> list[tuple[Any, ...]]:
    return told_by(keeper.whole_state())


def exported(state: State) -> str:
    out = io.StringIO()
    csv.writer(out).writerows(notebook_out.rows(state.pupae.values(), "America/Chicago"))
    return out.getvalue()


@pytest.fixture(scope="module")
def scratch(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("scratch") / "notebook.csv"


# -- what is read


def test_a_row_tells_a_whole_life(keeper: Keeper, take_in: Bring) -> None:
    row = (
        "A1,painted-lady,Jar,2026-08-01T19:00,2026-08-02T06:30,darkening,2026-08-09T06:30,2026-08-03T06:00,Roof,"
        "2026-08-03T06:40,silk,fallen,2026-08-10T05:30,2026-08-10T06:30,Jar,sound,female,,,X-12,2026-08-10T15:00,"
        "2026-08-11T10:00,Tray,flew straight off"
    )
    assert take_in(f"{','.join(COLUMNS)}\n{row}\n") == 11
    pupa = keeper.pupa("A1")
    assert pupa.brood == "Tray"
    assert (pupa.species, pupa.site, pupa.place, pupa.sex) == ("painted-lady", "Jar", "Jar", "female")
    assert (pupa.formed_from, pupa.formed_to) == (at("2026-08-01T19:00-05:00"), at("2026-08-02T06:30-05:00"))
    assert [(m.origin, m.entry.to, m.entry.method, m.entry.emergency) for m in pupa.relocations] == [
        ("Jar", "Roof", "silk", "fallen")
    ]
    assert pupa.emerged is not None
    assert (pupa.emerged.since, pupa.emerged.happened) == (at("2026-08-10T05:30-05:00"), at("2026-08-10T06:30-05:00"))
    assert pupa.wings is not None
    assert pupa.marked is not None
    assert pupa.released is not None
    assert (pupa.wings.condition, pupa.marked.code, pupa.notes) == ("sound", "X-12", ["flew straight off"])
    assert pupa.released.happened == at("2026-08-11T10:00-05:00")
    assert all(entry.history for entry in pupa.entries)
    assert pupa.flags == []


@pytest.mark.parametrize(
    "text",
    [
        "label,formed_to,site\nA1,2026-08-01T07:00,Roof\n",
        "site,label,formed_to\nRoof,A1,2026-08-01T07:00\n",
        " Label ; FORMED_TO;Site\n A1; 2026-08-01T07:00 ;Roof\n",
        "label\tformed_to\tsite\r\nA1\t2026-08-01T07:00\tRoof\r\n",
        "\ufefflabel,formed_to,site\n\n,,\nA1,2026-08-01T07:00,Roof\n\n",
        '"label","formed_to","site"\r"A1","2026-08-01T07:00","Roof"\r',
        "label,formed_to,site,note,\nA1,2026-08-01T07:00-05:00,Roof\n",
    ],
)
def test_a_header_may_come_in_any_order_and_dress(keeper: Keeper, take_in: Bring, text: str) -> None:
    assert take_in(text) == 1
    pupa = keeper.pupa("A1")
    assert (pupa.site, pupa.formed_to) == ("Roof", at("2026-08-01T07:00-05:00"))


def test_a_date_alone_is_the_whole_day(keeper: Keeper, take_in: Bring) -> None:
    take_in("label,formed_from,formed_to,moved_to,moved_at\nA1,2026-08-01,2026-08-01,Roof,2026-08-02\n")
    pupa = keeper.pupa("A1")
    assert (pupa.formed_from, pupa.formed_to) == (at("2026-08-01T00:00-05:00"), at("2026-08-02T00:00-05:00"))
    (move,) = pupa.relocations
    assert (move.entry.since, move.entry.happened) == (at("2026-08-02T00:00-05:00"), at("2026-08-03T00:00-05:00"))


@pytest.mark.parametrize("nothing", ["", "NA", "n/a", "-", "?", "None"])
def test_cells_that_say_nothing_are_passed_over(keeper: Keeper, take_in: Bring, nothing: str) -> None:
    assert take_in(f"label,formed_to,wings,loss,note\nA1,2026-08-01T07:00,{nothing},{nothing},{nothing}\n") == 1


def test_more_rows_of_a_label_add_moves_and_stages(keeper: Keeper, take_in: Bring) -> None:
    take_in(
        "label,site,formed_to,moved_to,moved_at,stage,stage_seen_at\n"
        "A1,Jar,2026-08-01T07:00,Roof,2026-08-03T07:00,set,2026-08-03\n"
        "A1,,,Line,2026-08-05T07:00,,\n"
        "A1,,,,,darkening,2026-08-09T07:00\n"
    )
    pupa = keeper.pupa("A1")
    assert [move.entry.to for move in pupa.relocations] == ["Roof", "Line"]
    assert [seen.stage for seen in pupa.sightings] == ["set", "darkening"]


def test_what_happened_on_one_day_keeps_the_order_of_its_lines(keeper: Keeper, take_in: Bring) -> None:
    header = "label,site,formed_to,moved_to,moved_at,stage,stage_seen_at,note\n"
    for number, walk in enumerate(itertools.permutations(("Roof", "Jar", "Line", "Attic"))):
        lines = [f"A{number},,,{to},2026-08-05,,,{to}\n" for to in walk]
        take_in(
            f"{header}A{number},Jar,2026-08-01,,,darkening,2026-08-09,\nA{number},,,,,clear,2026-08-09,\n{''.join(lines)}"
        )
        pupa = keeper.pupa(f"A{number}")
        assert [move.entry.to for move in pupa.relocations] == list(walk)
        assert (pupa.place, pupa.notes, pupa.stage_seen) == (walk[-1], list(walk), "clear")


def test_a_line_that_stands_twice_says_nothing_new(keeper: Keeper, take_in: Bring) -> None:
    line = "A1,,Roof,2026-08-05\n"
    assert take_in(f"label,formed_to,moved_to,moved_at\nA1,2026-08-01,,\n{line}{line}") == 2


def test_a_prepupa_and_then_the_row_of_its_pupation_are_one_animal(keeper: Keeper, take_in: Bring) -> None:
    header = "label,site,formed_from,formed_to,stage,stage_seen_at,emerged_to\n"
    first = "A1,Jar,,,prepupa,2026-08-01T07:00,\n"
    later = "A1,,2026-08-01T06:00,2026-08-01T19:00,,,2026-08-12T07:00\n"
    assert take_in(header + first) == 1
    assert keeper.pupa("A1").is_prepupa
    assert take_in(header + first + later) == 2
    pupa = keeper.pupa("A1")
    assert len(keeper.whole_state().pupae) == 1
    # It hung as a caterpillar at 07:00, so it cannot have been a pupa at 06:00.
    assert (pupa.formed_from, pupa.formed_to) == (at("2026-08-01T07:00-05:00"), at("2026-08-01T19:00-05:00"))
    assert take_in(header + first + later) == 0
    assert take_in(header + first) == 0


def test_a_caterpillar_written_down_live_pupates_in_the_notebook(keeper: Keeper, take_in: Bring, clock: Any) -> None:
    keeper.pupae.found("A1", "Jar", prepupa=True)
    clock.on(days=2)
    text = "label,site,formed_to,emerged_to\nA1,Jar,2026-09-09T07:00,\n"
    assert take_in(text) == 1
    assert take_in(text) == 0
    clock.on(days=10)
    assert take_in(text.replace(",\n", ",2026-09-18T07:00\n")) == 1
    assert take_in(text) == 0
    assert len(keeper.whole_state().pupae) == 1


# -- what is wrong


def test_every_bad_row_is_named_with_line_column_and_reason(problems: Callable[[str], list[str]]) -> None:
    told = problems(
        "label,species,site,formed_from,formed_to,wings,sex,moved_to,moved_at,move_method,loss,note\n"
        "A1,monarch,Roof,,2026-08-01T07:00,,,,,,,\n"
        ",monarch,Roof,,2026-08-01T07:00,,,,,,,\n"
        "A3,monark,Roof,,2026-08-01T07:00,,,,,,,\n"
        'A4,monarch,Roof,,2026-08-01T07:00,,,,,,,"two\nlines"\n'
        "A5,monarch,Roof,,2026-02-30,fluffy,both,,,,boredom,\n"
        "A6,monarch,Roof,2026-08-02,2026-08-01T07:00,,,,,,,\n"
        "A7,monarch,Roof,,,,,,,,,\n"
        "A8,monarch,Roof,,2026-08-01T07:00,,,Jar,,magic,,\n"
        "A9,monarch,Roof,,2026-08-01T07:00,,,,2026-08-02,,,\n"
        "A10,monarch,Roof,,2026-09-09T07:00,,,,,,,\n"
        "A11,monarch,Roof,,2026-03-08T02:30,,,,,,,\n"
        "A12,monarch,Roof,,2025-11-02T01:30,,,,,,,\n"
        "A13,monarch,Roof,,08/01/2026,,,,,,,\n"
        "A14,monarch,\x1b[31mRoof,,2026-08-01T07:00,,,,,,,\n"
        "A15,monarch,Roof,,2026-08-01T07:00,,,,,,,late, very late\n"
        f"{'A' * 25},monarch,Roof,,9999-12-31,,,,,,,\n"
    )
    expected = [
        "line 3, label: is empty",
        "line 4, species: 'monark' is not one of monarch",
        "line 5, note: the note 'two",  # and the rows after it keep their lines
        "line 7, formed_to: “2026-02-30” is not a day",
        "line 7, wings: 'fluffy' is not one of sound",
        "line 7, sex: 'both' is not one of female, male",
        "line 7, loss: 'boredom' is not one of unknown",
        "line 8, formed_from: is after formed_to",
        "line 9, formed_to: the row has no time at all",
        "line 10, moved_at: is empty, but moved_to is not",
        "line 10, move_method: 'magic' is not one of silk",
        "line 11, moved_to: is empty, but moved_at is not",
        "line 12, formed_to: 2026-09-09T07:00 lies in the future",
        "line 13, formed_to: “2026-03-08T02:30” did not exist",
        "line 14, formed_to: “2025-11-02T01:30” came twice",
        "line 15, formed_to: “08/01/2026” is not a time",
        "line 16, site: the place's name",
        "line 17, column 13: 13 cells under 12 columns",
        "line 18, label: the label has 25 characters",
    ]
    for beginning in expected:
        assert [line for line in told if line.startswith(beginning)], (beginning, told)
    lines = {line.split(",")[0] for line in told}
    assert lines == {f"line {number}" for number in (3, 4, 5, *range(7, 19))}


def test_however_many_rows_are_bad_each_is_named(problems: Callable[[str], list[str]]) -> None:
    assert len(problems("label,formed_to\n" + "".join(f"A{n},soon\n" for n in range(60)))) >= 60


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "there is no column “label”"),
        ("label,site\nA1,Roof\n", "neither “formed_from” nor “formed_to”"),
        ("label,formed_to,colour\n", "unknown columns: 'colour'"),
        ("label,formed_to,Label\n", "columns that appear twice: label"),
        ("label,formed_to\x1b[2J\n", r"'formed_to\x1b[2j'"),
        ('label,formed_to\nA1,"2026\n', "not a table of comma-separated values"),
        ('label,formed_to\n"A1"x,2026\n', "line 2: not a table of comma-separated values"),
        (f"label,formed_to\nA1,{'9' * 200_000}\n", "line 2: not a table of comma-separated values (field larger"),
    ],
)
def test_a_file_that_is_no_notebook_is_refused(take_in: Bring, text: str, told: str) -> None:
    with pytest.raises(NotUnderstood) as raised:
        take_in(text)
    assert told in str(raised.value)
    assert "\x1b" not in str(raised.value)


@pytest.mark.parametrize(
    ("data", "told"),
    [
        ("label,formed_to\nÄ1,2026\n".encode("latin-1"), "line 2: the file is not UTF-8 text"),
        ("label,formed_to\nA1,2026\n".encode("utf-16"), "line 1: the file is not UTF-8 text"),
        (b"label,formed_to\nA\x001,2026\n", "zero bytes"),
    ],
)
def test_a_file_that_is_no_text_is_refused(take_in: Bring, data: bytes, told: str) -> None:
    with pytest.raises(Unusable, match=told):
        take_in(data)


def test_two_animals_under_one_number_are_reported(problems: Callable[[str], list[str]], take_in: Bring) -> None:
    header = "label,formed_to,released_at\n"
    (told,) = problems(header + "A1,2026-08-01T07:00,\nA1,2026-08-03T07:00,\n")
    assert told.startswith("line 3, label: A1 is the pupa of line 2 too: two pupae under one label")
    assert take_in(header + "A1,2026-08-01T07:00,2026-08-12T07:00\nA1,2026-08-13T07:00,\n") == 4


def test_a_label_that_a_living_pupa_holds_is_taken(
    keeper: Keeper, take_in: Bring, problems: Callable[[str], list[str]], clock: Any
) -> None:
    last_year = "label,formed_to,released_at\nA1,2025-08-01T07:00,2025-08-12T07:00\n"
    assert take_in(last_year) == 3
    keeper.pupae.found("A1", "Roof")
    clock.on(days=1)
    (told,) = problems("label,formed_to\nA1,2026-09-08T19:00\n")
    assert told == "line 2, label: A1 is taken by a pupa in Roof already in the journal"
    # Last year's A1 is known again, and the next of last year's under that label can be told from the living one.
    assert take_in(last_year) == 0
    assert take_in(last_year.replace("12T", "24T").replace("01T", "13T")) == 3


def test_a_changed_notebook_doubles_no_pupa(
    keeper: Keeper, take_in: Bring, problems: Callable[[str], list[str]]
) -> None:
    season = "label,formed_to,released_at,wings\nA1,2025-08-01T07:00,2025-08-12T07:00,sound\n"
    assert take_in(season) == 4
    (told,) = problems(season.replace("01T07:00", "01T07:05"))
    assert told.endswith("already in the journal, from that time; a notebook adds entries and corrects none")
    assert take_in(season.replace("sound", "creased")) == 1
    assert keeper.pupa("A1").flags == ["wings-told-twice"]


# -- again, and back


SEASON = (
    "label,site,formed_from,formed_to,moved_to,moved_at,emerged_to,wings,note\n"
    "A1,Jar,2026-08-01,2026-08-02T07:00,Roof,2026-08-02T19:00,2026-08-12,sound,\n"
    "A2,Attic,,2026-08-20,,,,,hangs low\n"
    "A3,Jar,2026-09-07,2026-09-08,,,,,today\n"
    "A4,Jar,2026-09-01,,,,,,\n"
)


def test_early_moves_are_kept_and_named_and_so_are_unknown_places(keeper: Keeper, path: Path, take_in: Bring) -> None:
    path.write_text(SEASON, encoding="utf-8")
    before = keeper.journal.last()
    preview = bring.notebook_preview(keeper, path)
    assert keeper.journal.last() == before
    assert (preview.rows, preview.pupae, preview.early, preview.unknown_places) == (
        4,
        4,
        ["A1"],
        ["Attic"],
    )
    assert take_in(SEASON) == preview.entries
    assert [move.entry.happened for move in keeper.pupa("A1").relocations] == [at("2026-08-02T19:00-05:00")]


@pytest.mark.parametrize("later", [0, 1, 30, 24 * 40])
def test_a_second_import_adds_nothing_however_late_it_comes(
    keeper: Keeper, take_in: Bring, clock: Any, later: int
) -> None:
    assert take_in(SEASON) == 9
    before = state_of(keeper)
    clock.on(hours=later)
    assert take_in(SEASON) == 0
    assert state_of(keeper) == before


def test_an_import_that_was_undone_can_be_brought_in_again(keeper: Keeper, take_in: Bring) -> None:
    keeper.pupae.found("B1", "Roof")
    alone = state_of(keeper)
    for _ in range(3):
        assert take_in(SEASON) == 9
        full = state_of(keeper)
        assert len(full) == 5
        assert take_in(SEASON) == 0  # writes nothing that could be undone
        with pytest.raises(AskFirst) as asked:
            keeper.undo()
        keeper.undo_act(asked.value.act)
        assert state_of(keeper) == alone
    keeper.redo()
    assert state_of(keeper) == full
    assert take_in(SEASON) == 0


def test_what_is_exported_brings_the_same_in_again(keeper: Keeper, take_in: Bring, tmp_path: Path, clock: Any) -> None:
    take_in(SEASON)
    other = Keeper(Journal(tmp_path / "other.db"), keeper.settings, clock)
    (tmp_path / "export.csv").write_text(exported(keeper.whole_state()), encoding="utf-8")
    bring.notebook_in(other, tmp_path / "export.csv")
    assert state_of(other) == state_of(keeper)


def test_what_was_written_down_live_is_exported_too(keeper: Keeper, tmp_path: Path, clock: Any) -> None:
    keeper.places.looked()
    clock.on(hours=3)
    keeper.pupae.found("A1", "Jar", prepupa=True)
    keeper.pupae.found("A2", "Roof")
    clock.on(hours=12)
    keeper.pupae.found("A1", "Jar")
    clock.on(days=3)
    keeper.moves.move("A1", "Roof", "silk")
    keeper.pupae.fell("A2")
    clock.on(days=9)
    keeper.pupae.saw("A1", "clear")
    keeper.pupae.emerged("A1")
    keeper.pupae.lost("A2", "fall")
    clock.on(hours=3)
    keeper.pupae.found("A2", "Roof", when=Span(clock() - timedelta(hours=20), clock()))  # the label is free again
    other = Keeper(Journal(tmp_path / "other.db"), keeper.settings, clock)
    (tmp_path / "export.csv").write_text(exported(keeper.whole_state()), encoding="utf-8")
    bring.notebook_in(other, tmp_path / "export.csv")
    assert state_of(other) == state_of(keeper)


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@A1", "'=x", "'", "''", "'a", "none", "'NA", "?", "plain", "a'b"]
)
def test_a_cell_is_guarded_against_spreadsheets_and_comes_back(text: str, keeper: Keeper, tmp_path: Path) -> None:
    assert guarded(text)[0] not in "=+-@"
    keeper.pupae.found(text, "Roof")
    keeper.pupae.note(text, text)
    (tmp_path / "export.csv").write_text(exported(keeper.whole_state()), encoding="utf-8")
    other = Keeper(Journal(tmp_path / "other.db"), keeper.settings, keeper.clock)
    bring.notebook_in(other, tmp_path / "export.csv")
    assert state_of(other) == state_of(keeper)


LABELS = st.sampled_from(("A1", "=1+1", "-x", "none", "'q", "[red]x[/]", "Ünïque", 'a,b;"c"', "P\u00a0P", "9"))
PLACES = st.sampled_from(("", "Roof", "Jar", "Attic", "@home"))
WINGS = ("sound", "creased", "crumpled", "unexpanded")
LOSSES = ("unknown", "disease", "fall")
METHODS = ("silk", "whole")
EMERGENCIES = ("fallen", "support-failing")
HOURS_AGO = st.integers(0, 24 * 60)


@st.composite
def times(draw: st.DrawFn, filled: bool = False) -> str:
    """A cell with a time of the last sixty days: a moment, with or without offset, or a date; often nothing."""
    if not filled and draw(st.booleans()):
        return ""
    moment = NOW - timedelta(hours=draw(HOURS_AGO), minutes=7)
    local = moment - timedelta(hours=5)  # Chicago in summer
    return draw(st.sampled_from((f"{moment:%Y-%m-%dT%H:%M:%SZ}", f"{local:%Y-%m-%d %H:%M}", f"{local:%Y-%m-%d}")))


@st.composite
def notebooks(draw: st.DrawFn) -> str:
    """A notebook whose every cell can be understood, however much its rows contradict themselves."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, restval="")
    writer.writeheader()
    for label in draw(st.lists(LABELS, unique=True, max_size=5)):
        row = {"label": label, "species": draw(st.sampled_from(("", "monarch", "painted-lady"))), "site": draw(PLACES)}
        first, last = sorted((draw(HOURS_AGO), draw(HOURS_AGO)), reverse=True)
        for what in ("formed", "emerged"):
            ends = [f"{NOW - timedelta(hours=hours):%Y-%m-%dT%H:%MZ}" for hours in (first, last)]
            row[f"{what}_from"], row[f"{what}_to"] = draw(
                st.sampled_from((ends, (ends[0], ""), ("", ends[1]), ("", "")))
            )
        row["emerged_place"] = draw(PLACES)
        row["wings"] = draw(st.sampled_from(("", *WINGS)))
        row["sex"] = draw(st.sampled_from(("", "female", "male")))
        row["loss"] = draw(st.sampled_from(("", "", *LOSSES)))
        row["mark"] = draw(st.sampled_from(("", "", "X1", "=2")))
        row |= {name: draw(times()) for name in ("loss_at", "marked_at", "released_at")}
        if not (row["formed_from"] or row["formed_to"]):
            row["released_at"] = draw(times(filled=True))
        rows = [row, *({"label": label} for _ in range(draw(st.integers(0, 2))))]
        for more in rows:
            more["note"] = draw(st.sampled_from(("", "=sum(A1)", "flew, “well”", "n/a", "none")))
            more["fell_at"] = draw(times())
            if draw(st.booleans()):
                more["stage"] = draw(st.sampled_from(("prepupa", "soft", "set", "darkening", "clear", "empty")))
                more["stage_seen_at"] = draw(times(filled=True))
            if draw(st.booleans()):
                more |= {"moved_to": draw(PLACES.filter(bool)), "moved_at": draw(times(filled=True))}
                more["move_method"] = draw(st.sampled_from(("", *METHODS)))
                more["move_reason"] = draw(st.sampled_from(("", "in the way", *EMERGENCIES)))
            writer.writerow({name: guarded(cell) for name, cell in more.items()})
    return out.getvalue()


@settings(max_examples=100, deadline=None)
@given(text=notebooks(), later_hours=st.integers(0, 200))
def test_any_notebook_comes_back_as_it_was_and_is_known_again(
    loaded: Settings, scratch: Path, text: str, later_hours: int
) -> None:
    def read(text: str, journal: State, now: datetime) -> list[Entry]:
        scratch.write_text(text, encoding="utf-8")
        read = notebook.read(scratch, loaded, now, bring.holders(journal).__getitem__)
        assert read.problems == []
        return read.entries

    entries = read(text, State(), NOW)
    state = State(entries)
    assert told_by(State(read(exported(state), State(), NOW))) == told_by(state)
    again = read(text, state, NOW + timedelta(hours=later_hours))
    assert {entry.id for entry in again} == {entry.id for entry in entries}


def test_a_temporary_folder_without_room_is_told_in_a_sentence() -> None:
    def lay_out() -> None:
        with Staging() as staging:
            staging._file.execute("PRAGMA max_page_count = 10")
            staging.put_readings(("porch", second, 20.0) for second in range(100_000))

    with pytest.raises(Unusable, match="free some, or name another folder as TMPDIR"):
        lay_out()


def test_a_species_of_the_keepers_own_keeps_its_spelling(keeper: Keeper, take_in: Bring, config: Path) -> None:
    monarch = keeper.settings.species["monarch"]
    species = {**keeper.settings.species, "Mine": monarch}
    keeper.settings = msgspec.structs.replace(keeper.settings, species=species)
    take_in("label,formed_to,species\nA1,2026-08-01,mine\n")
    assert keeper.pupa("A1").species == "Mine"
