"""What the season taught, from the command line: filtered, written as a report, and the score of the forecasts.

The numbers are counted by hand from the notebook below; the data are invented.
"""

import json
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]

FIRST = date(2026, 7, 1)


def line(number: int) -> str:
    """A pupa a day: every third on glass with crumpled wings, the others on mesh with sound ones; out after 12 days."""
    formed, out = FIRST + timedelta(days=number), FIRST + timedelta(days=number + 12)
    site, wings = ("Jar", "crumpled") if number % 3 == 0 else ("Roof", "sound")
    return f"S{number},{site},{formed}T07:00,{formed}T12:00,{out}T07:00,{out}T10:00,{wings}"


@pytest.fixture
def season(run: Run, tmp_path: Path) -> Run:
    """Twelve finished pupae: four of the jar, eight of the roof."""
    head = "label,site,formed_from,formed_to,emerged_from,emerged_to,wings"
    (tmp_path / "season.csv").write_text("\n".join([head, *map(line, range(12))]), encoding="utf-8")
    assert run("import", tmp_path / "season.csv").code == 0
    return run


def test_only_keeps_the_pupae_of_one_group(season: Run) -> None:
    told = json.loads(season("review", "--by", "species", "--only", "site=Jar", "--json").out)
    assert (told["total"]["formed"], told["total"]["sound"], told["total"]["deformed"]) == (4, 0, 4)
    told = json.loads(season("review", "--by", "site", "--only", "surface=mesh", "--json").out)
    assert [(row["group"], row["sound"]) for row in told["rows"]] == [("Roof", 8)]


def test_a_group_there_is_none_of_is_named_with_the_nearest(season: Run) -> None:
    answer = season("review", "--only", "site=Jarr")
    assert answer.code == 2
    assert "did you mean Jar?" in answer.err
    answer = season("review", "--only", "Jar")
    assert answer.code == 2
    assert "write it like --only species=monarch" in answer.err


def test_the_report_is_a_page_of_its_own_and_never_over_another(season: Run, tmp_path: Path) -> None:
    page = tmp_path / "report.html"
    answer = season("review", "--by", "site", "--report", page)
    assert answer.code == 0
    assert str(page) in answer.out
    text = page.read_text(encoding="utf-8")
    assert text.startswith("<!DOCTYPE html>")
    assert "8/8" in text
    assert "0/4" in text
    assert "<script" not in text
    assert season("review", "--report", page).code != 0
    assert page.read_text(encoding="utf-8") == text


def test_a_report_of_one_group_counts_only_that(season: Run, tmp_path: Path) -> None:
    page = tmp_path / "jar.html"
    assert season("review", "--only", "site=Jar", "--report", page).code == 0
    text = page.read_text(encoding="utf-8")
    assert "0/4" in text
    assert "8/8" not in text


def test_past_forecasts_are_scored_in_words_and_for_programs(season: Run) -> None:
    answer = season("forecast", "--score")
    assert answer.code == 0
    assert "monarch" in answer.out.lower()
    told = json.loads(season("forecast", "--score", "--json").out)
    (monarch,) = told["species"]
    assert monarch["species"] == "Monarch"
    assert answer.out.count("\n") >= 3


def test_a_score_is_of_all_pupae_and_may_be_of_none(season: Run, run: Run) -> None:
    assert season("forecast", "--score", "S1").code == 2
    assert "Nothing to score yet" in run("forecast", "--score", "--as-of", "2026-07-02").out
