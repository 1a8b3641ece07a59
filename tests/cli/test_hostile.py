"""Whatever is typed, brought in or found in a file: it is understood or refused in a sentence, and steers nothing.

Parsers may raise only this program's own errors; what is printed carries no control character out of data (C0 and C1
controls as in ISO/IEC 6429, and the invisible and direction-changing signs of Unicode's category Cf). That a
spreadsheet takes a cell beginning with = + - @ for a formula is common practice, no source.
"""

import csv
import io
import os
import stat
import subprocess
import sys
import tempfile
import unicodedata
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from msgspec.structs import astuple

from pupawatch import settings as files
from pupawatch.errors import NotUnderstood, PupawatchError
from pupawatch.exchange.lines import LONGEST_LINE
from pupawatch.exchange.logger import reading as logger
from pupawatch.exchange.notebook import bringing as bring
from pupawatch.exchange.notebook import reading as notebook
from pupawatch.exchange.notebook import writing as notebook_out
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.model import entries as kinds
from pupawatch.model.entries import Entry
from pupawatch.model.ids import entry_id
from pupawatch.model.settings import Place, Settings
from pupawatch.model.text import checked, shown
from pupawatch.model.typed_times import parse_span

ROOT = Path(__file__).parents[2]
NOW = datetime(2026, 9, 8, 11, 40, tzinfo=UTC)
Run = Callable[..., Any]

TRICKS = (
    "\x1b[31mred", "\x1b]0;title\x07", "\x9b2J", "\u202eevil", "A\u200bB", "\u2066x\u2069", "[red]x[/]", "[/]", "{x}",
    "%s%n", "<script>", "=1+1", "+cmd|'x'!A1", "-1", "@sum", "\tx", "\r\nx", "'", '"', "\0", "\ud800", "\udcff",
    "\ufeff", "é" * 30, "e\u0301", "🦋", "a" * 70, "none", "../../x", "$(id)", "`id`", "'; DROP TABLE entry; --",
)  # fmt: skip
TEXT = st.one_of(st.sampled_from(TRICKS), st.text(max_size=30), st.text(st.characters(), max_size=30))
FEW = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def is_plain(text: str) -> bool:
    """Whether no sign in a text could steer a terminal or hide itself."""
    hidden = {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"}
    return all(sign == "\n" or unicodedata.category(sign) not in hidden for sign in text)


def attempt(do: Callable[[], Any]) -> tuple[Any, str]:
    """What it gives, or the sentence with which it is refused; any other error is a failure."""
    try:
        return do(), ""
    except PupawatchError as error:
        return None, str(error)


@pytest.fixture(scope="module")
def scratch(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("scratch")


# -- every parser understands or refuses


@FEW
@given(text=st.one_of(TEXT, st.from_regex(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d)?(Z|[+-]\d\d:\d\d)?", fullmatch=True)))
def test_any_text_is_a_time_or_a_sentence(text: str) -> None:
    for zone in ("UTC", "America/Chicago", "Australia/Lord_Howe"):
        span, told = attempt(lambda zone=zone: parse_span(text, zone, NOW))  # type: ignore[misc]
        assert span is None or span.since is None or span.since <= span.until
        assert is_plain(told)
        assert len(told) < 300


@FEW
@given(text=TEXT, longest=st.integers(1, 40))
def test_any_text_is_a_label_that_can_be_shown_or_a_sentence(text: str, longest: int) -> None:
    label, told = attempt(lambda: checked(text, "the label", longest))
    assert is_plain(told)
    if label is not None:
        assert 0 < len(label) <= longest
        assert shown(label) == label
        assert is_plain(label)
        assert checked(label, "the label", longest) == label


@st.composite
def tables(draw: st.DrawFn, header: tuple[str, ...]) -> bytes:
    """A table under a header, its cells anything; or only bytes."""
    if draw(st.booleans()):
        return draw(st.binary(max_size=400))
    cell = st.one_of(
        TEXT, st.sampled_from(["A1", "2026-08-01", "2026-08-01T07:00", "Roof", "monarch", "21.5", "prepupa"])
    )
    rows = draw(st.lists(st.lists(cell, max_size=len(header) + 1), max_size=6))
    out = io.StringIO()
    csv.writer(out, delimiter=draw(st.sampled_from(",;\t"))).writerows([header, *rows])
    return out.getvalue().encode(errors=draw(st.sampled_from(["surrogatepass", "replace"])))


@FEW
@given(data=tables(tuple(draw for draw in notebook.COLUMNS)))
@example(data=b"\xff\xfel\0a\0b\0")
@example(data=b'label,formed_to\n"A1')
@example(data=b"label,formed_to\nA1," + b"9" * 140_000)
@example(data=b"label;formed_to;note\nA1;2026-08-01;\x1b]0;x\x07\n")
def test_any_file_is_a_notebook_or_a_sentence(loaded: Settings, scratch: Path, data: bytes) -> None:
    path = scratch / "notebook.csv"
    path.write_bytes(data)
    read, told = attempt(lambda: notebook.read(path, loaded, NOW, lambda label: ()))
    assert is_plain(told)
    if read is not None:
        assert all(is_plain(str(problem)) for problem in read.problems)
        for entry in read.entries:
            assert all(is_plain(word) for word in astuple(entry) if isinstance(word, str))


@FEW
@given(data=tables(("Time", "Temp °C", "RH %")))
@example(data="Time,Temp °C\n2026-08-14 06:00,1e400\n2026-08-14 06:05,nan\n".encode())
@example(data="Time,\x1b[31mTemp °C\n2026-08-14 06:00,21\n".encode())
@example(data=b"Time,Temp\n9999-12-31 23:59:59,21\n0001-01-01 00:00:00,21\n")
@example(data="Time,Temp °C\n".encode() + b"2026-08-14 06:00,21.5\n" * 3 + b"\xff\xff\n")
def test_any_file_is_a_table_of_temperatures_or_a_sentence(scratch: Path, data: bytes) -> None:
    path = scratch / "log.csv"
    path.write_bytes(data)
    left = logger.Left({}, {})
    how, told = attempt(lambda: logger.understand(path, "America/Chicago"))
    assert is_plain(told)
    if how is not None:
        good, told = attempt(lambda: list(logger.readings(path, how, NOW, left)))
        assert all(is_plain(line) for line in (told, *how.lines(), *left.lines()))
        for reading in good or ():
            assert is_plain(reading.sensor)
            assert logger.COLDEST_C <= reading.celsius <= logger.HOTTEST_C


TOML = st.one_of(
    st.text(max_size=200),
    st.lists(
        st.tuples(
            st.sampled_from(["zone", "species", "theme", "name", "surface", "capacity", "[places]", "[[places]]", "x"]),
            st.sampled_from(
                ["1", "-1", "1e999", "nan", '"x"', '"\\u202e"', "[]", "{}", "true", '"""', "1970-01-01", "=", ""]
            ),
        ).map(lambda pair: " = ".join(pair)),
        max_size=6,
    ).map("\n".join),
)


@FEW
@given(text=TOML, name=st.sampled_from(["keeper.toml", "places.toml", "care.toml", "species.toml", "keys.toml"]))
@example(text='[[places]]\nname = "\\u001b[31mRoof"\nsurface = "mesh"\n', name="places.toml")
@example(text="a" + ".a" * 3000 + " = 1\n", name="care.toml")
@example(text="x = " + "[" * 3000, name="care.toml")
@example(text='zone = "../../../etc/passwd"\n', name="keeper.toml")
def test_any_settings_file_is_read_or_refused_with_its_name(text: str, name: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(text.encode(errors="surrogatepass"))
        loaded, told = attempt(lambda: files.load(Path(folder)))
        assert loaded or name in told


# -- what is brought in or lies in a journal never steers a terminal


def hostile_entries() -> list[Entry]:
    """A journal's worth of entries whose every text is a trick, as only another program can have written them."""
    made: list[Entry] = []
    for number, trick in enumerate(trick for trick in TRICKS if "\ud800" not in trick and "\udcff" not in trick):
        common: dict[str, Any] = {
            "act": f"act {number}", "happened": NOW, "recorded": NOW, "zone": "UTC", "pupa": f"{number}{trick}",
        }  # fmt: skip
        for turn, (kind, fields) in enumerate(
            [
                (kinds.Found, {"label": trick, "species": trick, "place": trick}),
                (kinds.Seen, {"stage": trick}),
                (kinds.Fell, {"reason": trick}),
                (kinds.Moved, {"to": trick, "method": trick, "emergency": trick, "advice": trick}),
                (kinds.Note, {"text": trick}),
                (kinds.Finding, {"sign": trick, "text": trick}),
            ]
        ):
            identity = entry_id(NOW, bytes([number, turn, *bytes(6)]))
            made.append(kind(**{**common, "id": identity}, **fields))
    return made


READING = (
    ["today"], ["pupae"], ["pupae", "--all"], ["places"], ["forecast"], ["review"], ["watch"], ["adults"], ["health"],
    ["plan"], ["moves"], ["sheet"], ["check"], ["undo"], ["redo"],
)  # fmt: skip


def test_no_command_prints_a_control_character_out_of_the_journal(run: Run, journal_path: Path) -> None:
    journal = Journal(journal_path)
    with journal.writing(date(2026, 9, 8)) as append:
        append(hostile_entries())
    journal.close()
    asked = [*READING, *(["history", trick] for trick in TRICKS if "\0" not in trick)]
    for words in asked:
        for more in ([], ["--json"]) if words in READING else ([],):
            answer = run(*words, *more)
            assert is_plain(answer.out), words
            assert is_plain(answer.err), words
            assert "Traceback" not in answer.err


def test_the_dashboard_draws_a_control_character_nowhere(tmp_path: Path) -> None:
    import asyncio

    from pupawatch.tui.app import Dashboard

    journal = Journal(tmp_path / "journal.db")
    with journal.writing(date(2026, 9, 8)) as append:
        append(hostile_entries())
    keeper = Keeper(journal, files.load(tmp_path), lambda: NOW, tmp_path)

    async def drawn() -> list[str]:
        app = Dashboard(keeper)
        texts = []
        async with app.run_test(size=(120, 60)) as pilot:
            for key in ("j", "enter", "escape", "m", "escape", "s", "escape", "v", "v", "v", "p"):
                await pilot.press(key)
                await pilot.pause()
                lines = app.screen._compositor.render_strips()
                texts += [segment.text for strip in lines for segment in strip]
        return texts

    texts = asyncio.run(drawn())
    journal.close()
    assert len(texts) > 100
    bad = [text for text in texts if not is_plain(text)]
    assert bad == []


@settings(FEW, max_examples=6)
@given(text=TEXT)
def test_any_word_typed_anywhere_is_kept_as_it_is_or_refused(run: Run, text: str) -> None:
    if "\0" in text or text.startswith("-"):
        return  # a shell cannot pass the one, and the other is an option
    for words in (
        ["found", text, "--place", "Jar"],
        ["found", "Z1", "--place", text],
        ["note", "Z1", text],
        ["history", text],
        ["looked", text],
        ["saw", "Z1", text],
        ["place", text],
        ["measured", text, "1", "2"],
        ["undo"],
    ):
        answer = run(*words)
        assert answer.code in (0, 1, 2, 3)
        assert is_plain(answer.out)
        assert is_plain(answer.err)


# -- large and endless


def test_a_field_of_ten_megabytes_and_a_line_without_end_are_refused_without_being_read_whole(
    run: Run, tmp_path: Path
) -> None:
    for beginning in ("label,formed_to,note\nA1,2026-08-01,", "Time,Temp\n2026-08-14 06:00,"):
        for kind in ("notebook", "temperatures"):
            path = tmp_path / "large.csv"
            path.write_text(beginning + "9" * 10_000_000, encoding="utf-8")
            answer = run("import", path, "--as", kind)
            assert answer.code in (2, 3)
            assert len(answer.err) < 1000
    path.write_text("label,formed_to\n" + "x" * (LONGEST_LINE + 5), encoding="utf-8")
    assert "line 2: is too long for a row of a table" in run("import", path).err


@pytest.mark.parametrize("kind", ["notebook", "temperatures"])
@pytest.mark.parametrize("device", ["/dev/zero", "/dev/null"])
def test_a_device_in_place_of_a_file_is_refused(run: Run, kind: str, device: str) -> None:
    answer = run("import", device, "--as", kind)
    assert answer.code in (2, 3)
    assert "Traceback" not in answer.err


@pytest.mark.timeout(60)
@pytest.mark.parametrize("kind", ["notebook", "temperatures"])
def test_a_header_of_more_columns_than_any_table_has_is_refused_at_once(run: Run, tmp_path: Path, kind: str) -> None:
    path = tmp_path / "wide.csv"
    row = ",".join(["2026-08-14 06:00", *(str(n % 40) for n in range(129_999))])
    path.write_text(f"label,formed_to,{','.join(f'c{n}' for n in range(129_998))}\n{row}\n{row}\n", encoding="utf-8")
    answer = run("import", path, "--as", kind)
    assert (answer.code, answer.out) == (2, "")
    assert answer.err == f"pupawatch: {path}, line 1: 130000 columns; 1000 is the most that can be read.\n"


@pytest.mark.posix("pipes on Windows have no name in a folder")
def test_a_pipe_in_place_of_a_file_is_refused_and_never_waited_for(tmp_path: Path) -> None:
    """As a program of its own, ended after a minute where it waits."""
    pipe, config = tmp_path / "pipe", tmp_path / "config"
    config.mkdir()
    os.mkfifo(pipe)
    os.mkfifo(tmp_path / "keeper.toml")
    os.mkfifo(config / "expected.csv")
    for folder, words, told in (
        (config, ["import", pipe], pipe),
        (config, ["import", pipe, "--as", "temperatures"], pipe),
        (config, ["merge", pipe], pipe),
        (config, ["check"], config / "expected.csv"),
        (tmp_path, ["today"], tmp_path / "keeper.toml"),
    ):
        typed = ["--journal", tmp_path / "j.db", "--config", folder, *words]
        done = subprocess.run(
            [sys.executable, "-m", "pupawatch", *typed],
            cwd=ROOT,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        assert done.returncode == 3, typed
        assert f"{told}" in done.stderr
        assert "annot be read: Is a pipe or a device, not a file" in done.stderr


# -- files that lie in the way


@pytest.fixture
def treasure(tmp_path: Path) -> Path:
    """A file of somebody else's, to which the links lead."""
    path = tmp_path / "treasure"
    path.write_text("do not touch", encoding="utf-8")
    return path


@pytest.mark.parametrize("command", [["export"], ["backup"], ["sheet"]])
@pytest.mark.parametrize("dangling", [False, True])
def test_a_link_is_never_written_through(
    run: Run, treasure: Path, tmp_path: Path, command: list[str], dangling: bool
) -> None:
    run("found", "A1", "--place", "Roof")
    target = tmp_path / "nowhere" if dangling else treasure
    link = tmp_path / "link.csv"
    link.symlink_to(target)
    answer = run(*command, link)
    assert answer.code in (2, 3)
    assert treasure.read_text(encoding="utf-8") == "do not touch"
    assert not (tmp_path / "nowhere").exists()


def test_a_link_under_the_name_of_a_draft_is_never_written_through(
    keeper: Keeper, run: Run, treasure: Path, config: Path, journal_path: Path
) -> None:
    run("found", "A1", "--place", "Roof")
    (config / f"places.toml.{os.getpid()}.new").symlink_to(treasure)
    assert run("place", "Line").code == 0
    target = journal_path.with_name("mine.db")
    target.with_name(f"mine.db.{os.getpid()}.new").symlink_to(treasure)
    assert run("backup", target).code == 0
    journal_path.with_name(f"journal.db.{os.getpid()}.restored").symlink_to(treasure)
    assert run("restore", target).code == 0
    assert treasure.read_text(encoding="utf-8") == "do not touch"
    assert stat.S_IMODE(target.stat().st_mode) == 0o600
    assert stat.S_IMODE(journal_path.stat().st_mode) == 0o600


# -- formulas


@FEW
@given(text=TEXT)
def test_no_exported_cell_is_a_formula_and_every_one_comes_back(keeper: Keeper, scratch: Path, text: str) -> None:
    with suppress(NotUnderstood):
        keeper.pupae.found(text, text)
        keeper.pupae.note(text, text)
    out = io.StringIO()
    csv.writer(out).writerows(notebook_out.rows(keeper.whole_state().pupae.values(), "America/Chicago"))
    for row in csv.reader(io.StringIO(out.getvalue())):
        assert not any(cell[:1] in ("=", "+", "-", "@", "\t", "\r") and cell for cell in row)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "export.csv"
        path.write_text(out.getvalue(), encoding="utf-8")
        other = Keeper(Journal(Path(folder) / "other.db"), keeper.settings, keeper.clock, Path(folder))
        bring.notebook_in(other, path)
        told = sorted((p.label, p.site, p.notes) for p in other.whole_state().pupae.values())
        other.journal.close()
    assert told == sorted((p.label, p.site, p.notes) for p in keeper.whole_state().pupae.values())


def test_a_place_described_with_a_trick_is_refused_or_kept(keeper: Keeper) -> None:
    for trick in TRICKS:
        done, told = attempt(lambda trick=trick: keeper.places.describe(Place(name=trick)))  # type: ignore[misc]
        assert is_plain(told)
        if done:
            assert keeper.settings.knows_place(checked(trick, "the name", 40))
            assert files.load(keeper.folder).places == keeper.settings.places
