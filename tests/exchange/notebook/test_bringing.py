"""What is said where entries can be written and settings cannot: what is so, and what to do.

A settings folder under /proc can be read as an empty one and never made, also by root.
"""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pupawatch import disk
from pupawatch import settings as files
from pupawatch.errors import Unusable
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.model.settings import Place

Run = Callable[..., Any]
SEASON = "label,site,formed_to\nA1,Attic,2026-08-01T07:00\n"
UNWRITABLE = "/proc/nowhere"


@pytest.fixture
def notebook(tmp_path: Path) -> Path:
    path = tmp_path / "season.csv"
    path.write_text(SEASON, encoding="utf-8")
    return path


@pytest.fixture
def other(tmp_path: Path, keeper: Keeper, clock: Any) -> Path:
    """Another journal with a pupa in a place that nobody described."""
    partner = Keeper(Journal(tmp_path / "partner.db"), keeper.settings, clock, tmp_path / "partner")
    partner.pupae.found("B1", "Attic")
    partner.journal.close()
    return partner.journal.path


def labels(run: Run) -> list[str]:
    return [pupa["label"] for pupa in json.loads(run("pupae", "--json").out)["pupae"]]


def test_a_notebook_is_not_brought_in_where_its_places_cannot_be_written(run: Run, notebook: Path) -> None:
    answer = run("--config", UNWRITABLE, "import", notebook)
    assert (answer.code, answer.out) == (3, "")
    assert "The places could not be written to /proc/nowhere/places.toml: " in answer.err
    assert answer.err.endswith("Nothing was imported.\n")
    assert labels(run) == []


def full(path: Path, data: bytes) -> None:
    raise OSError(28, "No space left on device")


def test_a_notebook_that_names_no_new_place_needs_no_settings_to_be_written(
    run: Run, notebook: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(disk, "replace", full)
    monkeypatch.setattr(disk, "rehearse", full)
    assert run("import", notebook).code == 3
    notebook.write_text(SEASON.replace("Attic", "Roof"), encoding="utf-8")
    assert run("import", notebook).code == 0
    assert labels(run) == ["A1"]


def test_places_that_fail_at_the_last_moment_are_told_beside_what_is_in(
    run: Run, notebook: Path, config: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as broken:
        broken.setattr(disk, "replace", full)
        answer = run("import", notebook)
    assert answer.code == 3
    assert answer.err == (
        "pupawatch: The entries are in the journal, but their places (Attic) are not in your settings yet. The places "
        f"could not be written to {config / 'places.toml'}: No space left on device. Correct that and repeat: "
        "the entries are skipped and the places added.\n"
    )
    assert labels(run) == ["A1"]
    assert "0 entries imported." in run("import", notebook).out
    assert [place.name for place in files.load(config).places] == ["Roof", "Jar", "Attic"]


def test_a_merge_whose_places_cannot_be_written_says_that_its_entries_are_in(
    run: Run, other: Path, config: Path
) -> None:
    answer = run("--config", UNWRITABLE, "merge", other)
    assert answer.code == 3
    assert answer.out.startswith("New: 1 entry, 0 readings.")
    assert "The entries are in the journal, but their places (Attic) are not in your settings yet." in answer.err
    assert "Nothing was" not in answer.err
    assert labels(run) == ["B1"]
    assert run("merge", other).code == 0
    assert [place.name for place in files.load(config).places] == ["Roof", "Jar", "Attic"]


def test_settings_that_broke_meanwhile_are_told_beside_what_is_in(keeper: Keeper, config: Path) -> None:
    keeper.pupae.found("A1", "Attic")
    (config / "care.toml").write_text("[wings", encoding="utf-8")
    with pytest.raises(Unusable, match=r"The entries are in the journal, but .*\n.*care.toml:1: not TOML"):
        keeper.places.add([Place(name="Attic")])


def test_a_place_that_cannot_be_written_changes_nothing(run: Run) -> None:
    answer = run("--config", UNWRITABLE, "place", "Attic", "--surface", "mesh")
    assert answer.code == 3
    assert answer.err.endswith("Nothing was changed.\n")
