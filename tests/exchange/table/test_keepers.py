"""Tables as different keepers might keep them, all invented: each read rightly with few questions.

What each cell means was settled by hand when the table was invented; that is what the reading is held against. That the
order of dates is never guessed follows from the tables in which nothing shows it.
"""

from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from pupawatch.errors import AskFirst, NotUnderstood
from pupawatch.exchange.table.bringing import Table
from pupawatch.keeper import Keeper
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Place
from pupawatch.model.times import local_day
from tests.exchange.table.shuffled import answer_all, result, shuffled

ZONE = "America/Chicago"


class Case(NamedTuple):
    """A table, the answers to what it asks, and what must result by label: pupated, emerged, wings, loss, site."""

    text: str
    answers: dict[tuple[str, ...], str]
    pupae: dict[str, tuple[str, str, str, str, str]]


CASES = {
    "semicolons, day first": Case(
        "No.;Pupated;Where;Turned dark;Eclosed;Sex;Wings;Released;Remarks\n"
        "1;14/06/2026;Roof;22/06/2026;24/06/2026;f;ok;25/06/2026;big\n2;05/06/2026;Jar;;;;;;went missing\n",
        # Each column by its own evidence: three have it, and the first has too.
        {},
        {"1": ("2026-06-14", "2026-06-24", "sound", "", "Roof"), "2": ("2026-06-05", "", "", "", "Jar")},
    ),
    "commas, month first": Case(
        "Name,Date formed,Location,Date emerged,Wings\n"
        "Anna,6/14/2026,Shed,6/24/2026,good\nBen,6/5/2026,Shed,6/15/2026,bent L\n",
        {},
        {
            "Anna": ("2026-06-14", "2026-06-24", "sound", "", "Shed"),
            "Ben": ("2026-06-05", "2026-06-15", "creased", "", "Shed"),
        },
    ),
    "nothing shows the order": Case(
        "Nr,Pupated,Emerged\n7,05/06/2026,06/07/2026\n",
        {("dates", "*"): "day-first"},
        {"7": ("2026-06-05", "2026-07-06", "", "", "unknown place")},
    ),
    "the same, answered otherwise": Case(
        "Nr,Pupated,Emerged\n7,05/06/2026,06/07/2026\n",
        {("dates", "*"): "month-first"},
        {"7": ("2026-05-06", "2026-06-07", "", "", "unknown place")},
    ),
    "titles, blanks and sums": Case(
        "Our pupae,,\n,,\nPupa,Date pupated,Fate\nP1,2026-06-14,eclosed\n,,\nP2,2026-06-15,turned black\nTotal,2,\n",
        {},
        {"P1": ("2026-06-14", "", "", "", "unknown place"), "P2": ("2026-06-15", "", "", "disease", "unknown place")},
    ),
    "months in words, year in the title": Case(
        "Season 2025,,\nID,Pupated,Eclosed\nx1,14 June,June 24th\nx2,5 Jun,16 Jun\n",
        {},
        {
            "x1": ("2025-06-14", "2025-06-24", "", "", "unknown place"),
            "x2": ("2025-06-05", "2025-06-16", "", "", "unknown place"),
        },
    ),
    "no year anywhere": Case(
        "ID,Pupated\nx1,14 June\n", {("years", "*"): "2025"}, {"x1": ("2025-06-14", "", "", "", "unknown place")}
    ),
    "a row an event": Case(
        "Date\tWho\tEvent\tWhere\n24.06.2026\ta\temerged\t\n14.06.2026\ta\tpupated\tLid\n16.06.2026\ta\tmoved\tRoof\n",
        {},
        {"a": ("2026-06-14", "2026-06-24", "", "", "Lid")},
    ),
    "an unknown word, asked once": Case(
        "Pupa,Formed,Emerged,Wings\na,2026-06-14,2026-06-24,wonky\nb,2026-06-14,2026-06-24,Wonky\n",
        {("values", "wings", "wonky"): "crumpled"},
        {
            "a": ("2026-06-14", "2026-06-24", "crumpled", "", "unknown place"),
            "b": ("2026-06-14", "2026-06-24", "crumpled", "", "unknown place"),
        },
    ),
    "a known place misspelt": Case(
        "Pupa,Formed,Place\na,2026-06-14,Rooof\nb,2026-06-14,roof\n",
        {("values", "place", "rooof"): "Roof"},
        {"a": ("2026-06-14", "", "", "", "Roof"), "b": ("2026-06-14", "", "", "", "Roof")},
    ),
    "two-digit years": Case(
        "Pupa;Formed;Emerged\na;14.06.26;24.06.26\nb;21.06.26;01.07.26\n",
        {},
        {
            "a": ("2026-06-14", "2026-06-24", "", "", "unknown place"),
            "b": ("2026-06-21", "2026-07-01", "", "", "unknown place"),
        },
    ),
    "the heading says the order": Case(
        "Pupa,Pupated (mm/dd/yyyy)\na,05/06/2026\n", {}, {"a": ("2026-05-06", "", "", "", "unknown place")}
    ),
    "a bare date column": Case(
        "No,Date,Cage\n1,2026-06-14,Jar\n", {("columns", "Date"): "formed"}, {"1": ("2026-06-14", "", "", "", "Jar")}
    ),
    "ditto signs": Case(
        "No,Formed,Cage\n1,2026-06-14,Jar\n2,\u3003,\u3003\n",
        {},
        {"1": ("2026-06-14", "", "", "", "Jar"), "2": ("2026-06-14", "", "", "", "Jar")},
    ),
}


@pytest.fixture
def table(keeper: Keeper, tmp_path: Path) -> Callable[[str], Table]:
    def table(text: str) -> Table:
        path = tmp_path / "mine.csv"
        path.write_text(text, encoding="utf-8")
        return Table(keeper, path)

    return table


def day(entry: Any) -> str:
    return "" if entry is None else local_day(entry.since or entry.happened, ZONE).isoformat()


def pupated(pupa: Pupa) -> str:
    return local_day(pupa.formed_from, ZONE).isoformat() if pupa.formed_from else ""


def said(pupa: Pupa) -> tuple[str, str, str, str, str]:
    wings = pupa.wings.condition if pupa.wings else ""
    return pupated(pupa), day(pupa.emerged), wings, pupa.lost.cause if pupa.lost else "", pupa.site


def answered(table: Table, answers: dict[tuple[str, ...], str]) -> int:
    asked = 0
    while question := table.question:
        asked += 1
        table.answer(*question, answers[question[1].key])
    return asked


@pytest.mark.parametrize("name", CASES)
def test_each_is_read_rightly_with_at_most_three_questions(
    name: str, keeper: Keeper, table: Callable[[str], Table]
) -> None:
    case = CASES[name]
    mine = table(case.text)
    assert answered(mine, case.answers) == len(case.answers) <= 3
    mine.bring_in()
    assert {pupa.label: said(pupa) for pupa in keeper.whole_state().pupae.values()} == case.pupae
    again = table(case.text)
    assert again.question is None
    assert again.bring_in() == 0


def test_it_is_one_act_with_one_undo(keeper: Keeper, table: Callable[[str], Table]) -> None:
    table(CASES["ditto signs"].text).bring_in()
    with pytest.raises(AskFirst) as asked:  # an import is undone by its name, never by a slip of a key
        keeper.undo()
    keeper.undo_act(asked.value.act)
    assert keeper.whole_state().pupae == {}


def test_dates_that_a_spreadsheet_may_have_swapped_are_asked_about(keeper: Keeper, tmp_path: Path) -> None:
    openpyxl = pytest.importorskip("openpyxl")
    made = openpyxl.Workbook()
    for row in (["No.", "Pupated"], [1, datetime(2026, 5, 6)], [2, "14/06/2026"]):
        made.active.append(row)
    made.save(tmp_path / "a.xlsx")
    mine = Table(keeper, tmp_path / "a.xlsx")
    assert answered(mine, {("typed", "*"): "swapped"}) == 1
    mine.bring_in()
    days = {pupa.label: pupated(pupa) for pupa in keeper.whole_state().pupae.values()}
    assert days == {"1": "2026-06-05", "2": "2026-06-14"}


def test_part_of_a_day_is_an_interval(keeper: Keeper, table: Callable[[str], Table]) -> None:
    table("No.,Pupated,Released\n1,14 June 2026 am,24 June 2026 evening\n").bring_in()
    (pupa,) = keeper.whole_state().pupae.values()
    assert pupa.released
    # 14 June, midnight to noon in Chicago, five hours behind UTC in summer.
    assert pupa.formed_from == datetime(2026, 6, 14, 5, tzinfo=UTC)
    assert pupa.formed_to == datetime(2026, 6, 14, 17, tzinfo=UTC)
    assert pupa.released.since == datetime(2026, 6, 24, 21, tzinfo=UTC)
    assert pupa.released.happened == datetime(2026, 6, 25, 5, tzinfo=UTC)


BAD = "No.,Pupated,Eclosed\n1,14 June 2026,24 June 2026\n2,15 June 2026,sometime\n"


def test_a_bad_cell_keeps_all_of_it_out(keeper: Keeper, table: Callable[[str], Table]) -> None:
    with pytest.raises(NotUnderstood, match="line 3, Eclosed: “sometime” is not a date"):
        table(BAD).bring_in()
    assert keeper.whole_state().pupae == {}


def test_or_only_its_pupa_and_its_row_comes_in_when_corrected(
    keeper: Keeper, table: Callable[[str], Table], tmp_path: Path
) -> None:
    left = tmp_path / "left.csv"
    table(BAD).bring_in(left)
    assert {pupa.label for pupa in keeper.whole_state().pupae.values()} == {"1"}
    corrected = left.read_text(encoding="utf-8").replace("sometime,", "25 June 2026,")
    assert "why left out" in corrected
    table(corrected).bring_in()
    assert {pupa.label: day(pupa.emerged) for pupa in keeper.whole_state().pupae.values()} == {
        "1": "2026-06-24",
        "2": "2026-06-25",
    }


def test_a_changed_cell_is_told_and_doubles_nothing(keeper: Keeper, table: Callable[[str], Table]) -> None:
    text = "No.,Pupated,Eclosed,Notes\n1,14 June 2026,24 June 2026,big\n"
    table(text).bring_in()
    before = keeper.last()
    for changed in (
        text.replace("24 June", "25 June"),
        text.replace("big", "small"),
        text.replace("14 June", "13 June"),
    ):
        with pytest.raises(NotUnderstood, match="1"):
            table(changed).bring_in()
    assert keeper.last() == before


def test_dates_without_a_year_on_both_sides_of_a_new_year_are_not_guessed(
    keeper: Keeper, table: Callable[[str], Table]
) -> None:
    with pytest.raises(NotUnderstood, match="“3 January” is not a date"):
        table("Season 2025,\nNo.,Pupated\n1,28 December\n2,3 January\n").bring_in()
    assert keeper.whole_state().pupae == {}


def test_a_bad_event_leaves_out_its_own_pupa(keeper: Keeper, table: Callable[[str], Table], tmp_path: Path) -> None:
    rows = "Date,Who,Event\n2026-06-14,a,pupated\n2026-06-14,b,pupated\nsoon,a,emerged\n2026-06-24,b,emerged\n"
    table(rows).bring_in(tmp_path / "left.csv")
    assert [pupa.label for pupa in keeper.whole_state().pupae.values()] == ["b"]
    assert (tmp_path / "left.csv").read_text(encoding="utf-8").count("line 4, Date: “soon” is not a date") == 2


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("No.,Pupated\n1,2026-14-06\n2,2026-05-06\n", "line 3, Pupated: “2026-05-06” is not a date"),
        (
            "No.,Pupated,Hatched\n1,14 June 2026,1 June 2026\n",
            "line 2, Hatched: is read as 1 June 2026, before it pupated on",
        ),
        ("No.,Pupated,Eclosed\n1,14 June 2026,24 Juni 2026\n", "“Eclosed” looks like emerged, but none of its 1 cells"),
        ("No.,Pupated,Wing OK?\n1,14 June 2026,n\n", "Is “Wing OK?” the same as wings?"),
        ("No.,Name,Pupated\n1,Anna,14 June 2026\n", "both look like label"),
        ("No.,Pupated\n1,14/06/2026\n2,6/15/2026\n", "its cells contradict each other"),
    ],
)
def test_what_is_doubtful_is_refused_or_asked(table: Callable[[str], Table], text: str, reason: str) -> None:
    with pytest.raises(NotUnderstood) as refused:
        table(text).bring_in()
    assert reason in str(refused.value)


def test_the_order_of_dates_is_told_with_the_cell_that_decides_it(table: Callable[[str], Table]) -> None:
    (pupated,) = [line for line in table("No.;Pupated\n1;09/06/2024\n2;25/06/2024\n").told() if "Pupated" in line]
    assert "day-first because of 25/06/2024" in pupated


def test_figures_below_a_heading_are_asked_about(keeper: Keeper, table: Callable[[str], Table]) -> None:
    keeper.places.add([Place(name="Cage 1")])
    mine = table("No.,Pupated,Cage\n1,14 June 2026,1\n")
    assert answered(mine, {("values", "place", "1"): "Cage 1"}) == 1
    mine.bring_in()
    assert [pupa.site for pupa in keeper.whole_state().pupae.values()] == ["Cage 1"]


def test_what_was_empty_and_is_filled_in_comes_in(keeper: Keeper, table: Callable[[str], Table]) -> None:
    table("No.,Pupated,Eclosed\n1,14 June 2026,\n").bring_in()
    assert table("No.,Pupated,Eclosed\n1,14 June 2026,24 June 2026\n").bring_in() == 1


def test_words_of_the_keepers_own_are_added(keeper: Keeper, table: Callable[[str], Table]) -> None:
    assert keeper.folder
    (keeper.folder / "tables.toml").write_text('[columns]\nformed = ["verpuppt"]\n', encoding="utf-8")
    table("Nr;Verpuppt\n1;2026-06-14\n").bring_in()
    assert [pupated(pupa) for pupa in keeper.whole_state().pupae.values()] == ["2026-06-14"]


@pytest.mark.parametrize("seed", range(0, 100_000, 1000))
def test_a_shuffled_table_is_asked_about_or_refused_but_never_read_wrongly(
    seed: int, keeper: Keeper, table: Callable[[str], Table]
) -> None:
    case = shuffled(seed)
    mine = table(case.text)
    if answer_all(mine, case):
        with suppress(NotUnderstood):
            mine.bring_in()
            assert result(keeper.whole_state().pupae.values(), case.truth, ZONE) == case.truth
