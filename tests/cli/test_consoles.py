"""Every reading command where the console or pipe carries no Unicode, in code pages of old consoles.

cp1252 and cp437: the ANSI and the OEM page of an English Windows; cp932: the page of a Japanese one (Unicode
consortium, MAPPINGS/VENDORS/MICSFT). Each is Python's own codec of that name.
"""

import errno
import io
import re
import sys
from contextlib import suppress
from pathlib import Path

import pytest

from pupawatch import cli
from pupawatch.demo import MORNING, demo_keeper
from pupawatch.keeper import opening
from pupawatch.model.settings import Signs
from pupawatch.model.signs import OLD_CONSOLE, PLAIN, plain
from pupawatch.tui.terminal import lasting, wants_plain

READING = (
    "today", "pupae", "places", "history M41", "watch", "adults", "health", "plan", "moves", "forecast", "review",
    "broods", "sheet", "--help", "found --help", "adult --help",
)  # fmt: skip
NAMED = "Größe"


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("season")
    demo_keeper(folder).close()
    return folder


def printed(words: str, encoding: str, season: Path, monkeypatch: pytest.MonkeyPatch) -> bytes:
    """What a command sends to a pipe of this encoding, errors included."""
    out = io.BytesIO()
    stream = io.TextIOWrapper(out, encoding=encoding)
    monkeypatch.setattr(sys, "stdout", stream)
    monkeypatch.setattr(sys, "stderr", stream)
    options = ["--journal", str(season / "demo.db"), "--config", str(season)]
    with suppress(SystemExit):
        cli.main([*options, *words.split()])
    stream.flush()
    monkeypatch.undo()
    return out.getvalue()


@pytest.mark.parametrize("words", READING)
def test_no_interval_holds_a_question_mark_in_any_code_page(
    words: str, season: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(opening, "system_clock", lambda: MORNING)
        whole = printed(words, "utf-8", season, patch).decode()
    for encoding in ("cp1252", "cp437", "cp932"):
        with monkeypatch.context() as patch:
            patch.setattr(opening, "system_clock", lambda: MORNING)
            raw = printed(words, encoding, season, patch)
        assert raw.isascii()  # so it is read alike in whatever page the console has
        assert not re.search(r"\d\?|\?\d", raw.decode()), words
        assert raw.decode().count("?") == whole.count("?")
        assert raw.decode().replace("\r", "") == plain(whole)


def test_every_sign_that_is_not_ascii_has_a_plain_one() -> None:
    root = Path(cli.__file__).parents[2]
    sources = [*(root / "pupawatch").rglob("*.py"), *(root / "config").glob("*.toml")]
    signs = {sign for path in sources for sign in path.read_text(encoding="utf-8") if not sign.isascii()}
    assert [sign for sign in sorted(signs) if plain(sign) == "?" and sign not in "¤◘∆√ø"] == []
    assert all(words.isascii() for words in PLAIN.values())


@pytest.mark.parametrize(("encoding", "kept"), [("cp1252", NAMED), ("cp437", NAMED), ("cp932", "Gro?e")])
def test_a_name_keeps_the_letters_that_the_encoding_has(
    encoding: str, kept: str, season: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = printed(f"history {NAMED}", encoding, season, monkeypatch).decode(encoding)
    assert f'no pupa labelled "{kept}"' in told


def test_signs_of_old_consoles_take_the_cell_they_took_before() -> None:
    from rich.cells import cell_len

    for sign, instead in OLD_CONSOLE.items():
        assert cell_len(chr(sign)) == cell_len(str(instead)) == 1, chr(sign)


@pytest.mark.parametrize(
    ("signs", "platform", "environment", "plain"),
    [
        ("auto", "win32", {}, True),
        ("auto", "win32", {"WT_SESSION": "1"}, False),
        ("all", "win32", {}, False),
        ("plain", "darwin", {"TERM": "xterm-256color"}, True),
        ("auto", "darwin", {"TERM": "xterm-256color"}, False),
        ("auto", "linux", {"TERM": "linux"}, True),
        ("auto", "linux", {"TERM": "xterm"}, False),
    ],
)
def test_old_consoles_get_plain_signs(signs: Signs, platform: str, environment: dict[str, str], plain: bool) -> None:
    assert wants_plain(signs, platform, environment) == plain


@pytest.mark.parametrize(("signs", "drawn"), [("plain", "√ ● ∆ 12–24 h"), ("all", "✓ ◉ △ 12–24 h")])
def test_what_is_drawn_is_in_the_signs_that_were_set(signs: Signs, drawn: str, monkeypatch: pytest.MonkeyPatch) -> None:
    screen = io.StringIO()
    monkeypatch.setattr(sys, "__stderr__", screen)
    with lasting(signs):
        assert sys.__stderr__
        sys.__stderr__.write("✓ ◉ △ 12–24 h")
    assert screen.getvalue() == drawn


def test_csv_for_spreadsheets_begins_with_a_mark_and_is_read_again(
    season: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    options = ["--journal", str(season / "demo.db"), "--config", str(season)]
    for words in (["export", str(tmp_path / "n.csv")], ["sheet", str(tmp_path / "s.csv")]):
        assert cli.main([*options, *words]) == 0, capsys.readouterr().err
    assert [path.read_bytes()[:3] for path in sorted(tmp_path.glob("?.csv"))] == [b"\xef\xbb\xbf"] * 2
    other = ["--journal", str(tmp_path / "other.db"), "--config", str(season)]
    assert cli.main([*other, "import", str(tmp_path / "n.csv")]) == 0, capsys.readouterr().err


def test_no_sign_of_ours_may_be_drawn_as_an_emoji() -> None:
    """Two cells wide in some terminals: what Unicode's emoji-data.txt (version 16) lists among the signs in use."""
    emoji = set("‼⁉⚠✔✖❌✅▪▫▶◀◻◼◽◾⬛⬜↔↕↩↪☀☁☂☎☑")
    root = Path(cli.__file__).parents[2]
    sources = [*(root / "pupawatch").rglob("*.py"), *(root / "config").glob("*.toml")]
    assert [path.name for path in sources if emoji & set(path.read_text(encoding="utf-8"))] == []


@pytest.mark.parametrize(
    ("code", "name", "platform", "enough"),
    [
        (errno.EINVAL, None, "win32", True),
        (errno.EINVAL, "journal.db", "win32", False),
        (errno.EINVAL, None, "linux", False),
        (errno.ENOSPC, None, "win32", False),
    ],
)
def test_a_pipe_that_was_closed_is_no_error_on_windows_either(
    code: int, name: str | None, platform: str, enough: bool
) -> None:
    assert cli.has_read_enough(OSError(code, "Invalid argument", name), platform) == enough
