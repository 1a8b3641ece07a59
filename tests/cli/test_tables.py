"""A keeper's own table from the command line, away from a terminal: accepted, refused with its questions, answered."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]
SHEET = "Nr;Pupated;Eclosed\n1;05/06/2026;{}\n"


@pytest.fixture
def mine(tmp_path: Path) -> Path:
    path = tmp_path / "mine.csv"
    path.write_text(SHEET.format("06/07/2026"), encoding="utf-8")
    return path


def labels(run: Run) -> list[str]:
    return [pupa["label"] for pupa in json.loads(run("pupae", "--all", "--json").out)["pupae"]]


def test_an_open_question_refuses_and_is_answered_in_a_file(run: Run, mine: Path, tmp_path: Path) -> None:
    asked = run("import", mine, "--accept", "--map", tmp_path / "answers.toml")
    assert asked.code == 2
    assert "which number is the day, as in 05/06/2026. (day-first | month-first)" in asked.err
    assert labels(run) == []
    answers = tmp_path / "answers.toml"
    answers.write_text(answers.read_text(encoding="utf-8").replace('"*" = ""', '"*" = "day-first"'), encoding="utf-8")
    assert run("import", mine, "--map", answers).code == 0
    assert labels(run) == ["1"]
    again = run("import", mine)
    assert (again.code, "0 entries imported." in again.out) == (0, True)


def test_a_new_table_without_a_question_waits_for_accept(run: Run, mine: Path) -> None:
    mine.write_text("Nr;Pupated\n1;14/06/2026\n", encoding="utf-8")
    waits = run("import", mine)
    assert (waits.code, "--accept" in waits.err) == (2, True)
    assert "day-first because of 14/06/2026" in waits.out
    assert run("import", mine, "--accept", "--dry-run").code == 0
    assert labels(run) == []
    assert run("import", mine, "--accept").code == 0
    assert labels(run) == ["1"]


def test_an_answer_that_is_none_is_refused(run: Run, mine: Path, tmp_path: Path) -> None:
    answers = tmp_path / "answers.toml"
    answers.write_text(
        '[[tables]]\nheader = ["Nr", "Pupated", "Eclosed"]\n[tables.dates]\n"*" = "mine"\n', encoding="utf-8"
    )
    refused = run("import", mine, "--map", answers)
    assert (refused.code, "'mine' is not one of day-first" in refused.err) == (2, True)


@pytest.mark.parametrize("text", ["", "\n\n", "a,b\n1,2\n", "\x1b[31m;Pupated\n1;2\n"])
def test_a_file_without_headings_is_refused_in_a_sentence(run: Run, mine: Path, text: str) -> None:
    mine.write_text(text, encoding="utf-8")
    refused = run("import", mine)
    assert (refused.code, "no row looks like the headings" in refused.err) == (2, True)


def test_at_a_terminal_it_asks_and_brings_in_what_is_agreed_to(
    run: Run, mine: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    typed = iter(["9", "1", "y"])
    monkeypatch.setattr("builtins.input", lambda _: next(typed))
    monkeypatch.setattr("pupawatch.cli.tables.is_terminal", lambda: True)
    asked = run("import", mine)
    assert asked.code == 0
    assert "  1 day-first\n  2 month-first\n" in asked.out
    assert "Type the number of an answer." in asked.out
    assert labels(run) == ["1"]
