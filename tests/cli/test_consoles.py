"""Every reading command where the console or pipe carries no Unicode, in code pages of old consoles.

cp1252 and cp437: the ANSI and the OEM page of an English Windows; cp932: the page of a Japanese one (Unicode consortium,
MAPPINGS/VENDORS/MICSFT). Each is Python's own codec of that name.
"""

import io
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from pupawatch import cli
from pupawatch.demo import MORNING, demo_keeper
from pupawatch.keeper import opening
from pupawatch.model.signs import OLD_CONSOLE, PLAIN, plain

READING = (
    "today", "pupae", "places", "history M41", "watch", "adults", "health", "plan", "moves", "forecast", "review", "broods",
    "sheet", "--help", "found --help", "adult --help",
)  # fmt: skip
NAMED = "Größe"


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("season")
    demo_keeper(folder).close()
    return folder


@pytest.fixture(autouse=True)
def at_the_morning(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr(opening, "system_clock", lambda: MORNING)
    yield


def printed(words: str, encoding: str, season: Path, monkeypatch: pytest.MonkeyPatch) -> bytes:
    """What a command sends to a pipe of this encoding, errors included."""
    out = io.BytesIO()
    stream = io.TextIOWrapper(out, encoding=encoding)
    monkeypatch.setattr(sys, "stdout", stream)
    monkeypatch.setattr(sys, "stderr", stream)
    options = ["--journal", str(season / "demo.db"), "--config", str(season)]
    try:
        cli.main([*options, *words.split()])
    except SystemExit:
        pass
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


def test_no_sign_of_ours_may_be_drawn_as_an_emoji() -> None:
    """Two cells wide in some terminals: what Unicode's emoji-data.txt (version 16) lists among the signs in use."""
    emoji = set("‼⁉⚠✔✖❌✅▪▫▶◀◻◼◽◾⬛⬜↔↕↩↪☀☁☂☎☑")
    root = Path(cli.__file__).parents[2]
    sources = [*(root / "pupawatch").rglob("*.py"), *(root / "config").glob("*.toml")]
    assert [path.name for path in sources if emoji & set(path.read_text(encoding="utf-8"))] == []
