"""The data sheet: the right rows and columns, and nothing in it is run, styled or obeyed."""

import csv
import io
from datetime import UTC, date, datetime, timedelta
from html.parser import HTMLParser
from pathlib import Path

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pupawatch import settings as files
from pupawatch.errors import NotUnderstood, Unusable
from pupawatch.exchange import sheet
from pupawatch.exchange.cells import guarded
from pupawatch.model import entries as kinds
from pupawatch.model.fold import fold
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings
from pupawatch.model.text import shown

NOON = datetime(2026, 8, 14, 12, 0, tzinfo=UTC)
DAY = timedelta(days=1)
YEAR = (date(2026, 1, 1), date(2026, 12, 31))
FORMULAS = ("=1+1", "+1", "-1", "@x", "\t=1", "=cmd|' /C calc'!A0", "'=1")


@pytest.fixture(scope="module")
def settings(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    return msgspec.structs.replace(files.load(tmp_path_factory.mktemp("none")), zone="America/Chicago")


def butterfly(label: str, mark: str = "", released: datetime | None = None, **more: str) -> Pupa:
    """One that emerged on the 14th, was marked a day later, and let fly then."""

    def entry(kind: type[kinds.Entry], at: datetime, **fields: object) -> kinds.Entry:
        name = f"{label}{kind.__name__}"
        return kind(id=name, act=name, happened=at, recorded=at, zone="UTC", pupa=label, **fields)

    told = [
        entry(kinds.Found, NOON - 10 * DAY, label=label, species="monarch", place="Roof"),
        entry(kinds.Emerged, NOON),
    ]
    if "wings" in more:
        told.append(entry(kinds.Wings, NOON, condition=more["wings"]))
    if "sex" in more:
        told.append(entry(kinds.Sexed, NOON, sex=more["sex"]))
    if "origin" in more:
        told.append(entry(kinds.Origin, NOON, origin=more["origin"]))
    if mark:
        told.append(entry(kinds.Marked, NOON + DAY, code=mark))
    if "kept" in more:
        told.append(entry(kinds.Kept, NOON + DAY, place=more["kept"]))
    if released:
        told.append(entry(kinds.Released, released, place=more.get("place", "")))
    return fold(label, told)


def test_a_release_of_which_only_the_day_is_known_is_dated_that_day(settings: Settings) -> None:
    """Of a date alone the end of the day is kept, which is the midnight that begins the next (05:00 UTC in summer)."""
    end_of_the_16th = datetime(2026, 8, 17, 5, 0, tzinfo=UTC)
    days = (date(2026, 8, 16), date(2026, 8, 16))
    _, row = sheet.table([butterfly("A", "X 1", end_of_the_16th)], settings, *days, ["label", "date", "released"])
    assert row == ["A", "2026-08-16", "2026-08-16"]


def test_the_sheet_has_a_row_for_each_that_was_marked_kept_or_let_fly(settings: Settings) -> None:
    rows = sheet.table(
        [
            butterfly("A", "X 1", NOON + 2 * DAY, wings="sound", sex="male", origin="wild-larva", place="meadow"),
            butterfly("B", "X 2", sex="female"),
            butterfly("C", kept="Net", wings="crumpled"),
            butterfly("D"),
        ],
        settings,
        *YEAR,
    )
    assert rows[0] == ["label", "species", "date", "sex", "mark", "origin", "wings", "release place"]
    assert ["A", "Monarch", "2026-08-16", "male", "X 1", "wild larva", "sound", "meadow"] in rows
    assert ["B", "Monarch", "2026-08-15", "female", "X 2", "", "", ""] in rows
    assert ["C", "Monarch", "2026-08-15", "", "", "", "crumpled", ""] in rows
    assert len(rows) == 4


def test_the_range_counts_days_in_the_keepers_zone_and_includes_both_ends(settings: Settings) -> None:
    late = datetime(2026, 8, 17, 3, 0, tzinfo=UTC)  # 22:00 on the 16th in Chicago
    one = [butterfly("A", released=late)]
    assert len(sheet.table(one, settings, date(2026, 8, 16), date(2026, 8, 16))) == 2
    assert len(sheet.table(one, settings, date(2026, 8, 17), date(2026, 8, 18))) == 1
    assert len(sheet.table(one, settings, date(2026, 8, 10), date(2026, 8, 15))) == 1


def test_the_keeper_chooses_the_columns(settings: Settings) -> None:
    one = [butterfly("A", "X 1", wings="sound", kept="Net")]
    assert sheet.table(one, settings, *YEAR, columns=sheet.COLUMNS)[1].count("A") == 1
    assert sheet.table(one, settings, *YEAR, columns=["kept", "label"]) == [["kept", "label"], ["Net", "A"]]
    with pytest.raises(NotUnderstood, match="did you mean release_place"):
        sheet.table(one, settings, *YEAR, columns=["release-place"])


def test_an_origin_nobody_wrote_down_is_that_of_the_settings(settings: Settings) -> None:
    own = msgspec.structs.replace(settings.keeper.sheet, origin="wild-egg", columns=["origin"])
    mine = msgspec.structs.replace(settings, keeper=msgspec.structs.replace(settings.keeper, sheet=own))
    rows = sheet.table([butterfly("A", "1"), butterfly("B", "2", origin="reared")], mine, *YEAR)
    assert sorted(rows[1:]) == [["reared"], ["wild egg"]]


@pytest.mark.parametrize("formula", FORMULAS)
def test_no_cell_of_the_csv_begins_as_a_formula(settings: Settings, formula: str) -> None:
    """The signs that start a formula: OWASP, CSV injection."""
    rows = sheet.table(
        [butterfly("A", formula, NOON, place=formula)], settings, *YEAR, columns=["mark", "release_place"]
    )
    for cell in list(csv.reader(io.StringIO(sheet.as_csv(rows))))[1]:
        assert cell[0] not in "=+-@\t\r"


@given(st.lists(st.text(max_size=30), min_size=1, max_size=4))
def test_any_words_stay_in_their_cells_and_none_begins_as_a_formula(cells: list[str]) -> None:
    rows = [[f"c{number}" for number in range(len(cells))], cells]
    back = list(csv.reader(io.StringIO(sheet.as_csv(rows), newline="")))
    assert back == [[guarded(shown(cell)) for cell in row] for row in rows]
    assert all(cell[:1] not in tuple("=+-@\t\r\n") or not cell for cell in back[1])


def test_markup_and_scripts_are_words_on_the_page(settings: Settings) -> None:
    evil = '<script>alert(1)</script><b onclick="x">'
    page = sheet.as_html(sheet.table([butterfly(evil, "1")], settings, *YEAR, columns=["label", "mark"]), evil)
    tags: list[str] = []

    class Reader(HTMLParser):
        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            tags.append(tag)

    Reader().feed(page)
    assert "script" not in tags
    assert "b" not in tags
    assert "default-src 'none'" in page
    assert "permit" in page


def test_escapes_do_not_reach_the_terminal_and_columns_stand_in_line(settings: Settings) -> None:
    text = sheet.as_text([["mark", "wings"], ["\x1b[31mX", "sound"], ["蝶", "creased"]])
    assert "\x1b" not in text
    header, rule, first, second = text.splitlines()
    assert header.index("wings") == first.index("sound") == second.index("creased") + 1  # 蝶 is two cells wide
    assert set(rule) == {"─", " "}


@pytest.mark.parametrize("ending", [".csv", ".html", ".txt"])
def test_a_file_is_written_once_and_never_over_another(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"sheet{ending}"
    sheet.write([["mark"], ["X 1"]], path, "Sheet")
    assert "X 1" in path.read_text("utf-8")
    with pytest.raises(NotUnderstood, match="exists already"):
        sheet.write([["mark"]], path, "Sheet")


def test_a_file_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    with pytest.raises(NotUnderstood, match="must end in"):
        sheet.write([["mark"]], tmp_path / "sheet.xlsx", "Sheet")
    with pytest.raises(Unusable, match="cannot be written"):
        sheet.write([["mark"]], tmp_path / "none" / "sheet.csv", "Sheet")
