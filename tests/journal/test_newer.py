"""What a newer pupawatch wrote is not damage: it is kept, left out of answers, and said."""

import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from pupawatch.errors import Unusable
from pupawatch.journal import salvage
from pupawatch.journal.file import Journal
from pupawatch.journal.schema import checksum
from pupawatch.keeper import Keeper
from pupawatch.model.ids import entry_id

Run = Callable[..., Any]


def wrote_newer(path: Path, keeper: Keeper, number: int = 0, **fields: object) -> str:
    """Put an entry into the file as a version to come might write it, and return its body."""
    at = keeper.clock()
    identity = entry_id(at, bytes([number]) * 8)
    told = {"kind": "weighed", "id": identity, "act": identity, "zone": "UTC", "pupa": "x", "grams": 1.2, **fields}
    told |= {"happened": at.isoformat(), "recorded": at.isoformat()}
    when = f"{at:%Y-%m-%dT%H:%M:%S.%f}Z"
    row = (identity, identity, str(told["kind"]), str(told["pupa"]), when, json.dumps(told))
    with closing(sqlite3.connect(path)) as file, file:
        columns = "id, act, kind, about, happened, body, crc32"
        file.execute(f"INSERT INTO entry ({columns}) VALUES (?, ?, ?, ?, ?, ?, ?)", (*row, checksum(*row)))
    return row[-1]


def bodies(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as file:
        return [body for (body,) in file.execute("SELECT body FROM entry ORDER BY seq")]


@pytest.fixture(params=["kind", "field"])
def newer(request: pytest.FixtureRequest, keeper: Keeper, run: Run) -> Keeper:
    """A journal with one pupa, in which a newer version wrote an entry of a new kind, or with a new field."""
    keeper.pupae.found("P1", "Roof")
    fields = {} if request.param == "kind" else {"kind": "note", "text": "heavy", "by": "somebody"}
    wrote_newer(keeper.journal.path, keeper, **fields)
    keeper.journal.close()
    return keeper


def test_reading_goes_on_with_the_rest_and_says_what_it_left_out(newer: Keeper, run: Run) -> None:
    answer = run("pupae", "--all")
    assert answer.code == 0
    assert "P1" in answer.out
    assert "1 entry in" in answer.err
    assert "written by a newer pupawatch" in answer.err
    assert "update pupawatch" in answer.err


def test_check_calls_it_no_damage_and_offers_no_backup(newer: Keeper, run: Run) -> None:
    answer = run("check")
    assert answer.code == 0
    assert "newer pupawatch" in answer.out
    assert "restore" not in answer.out + answer.err
    assert "is damaged" not in answer.out + answer.err


def test_a_kind_nobody_knows_closes_the_journal_to_writing(keeper: Keeper, run: Run) -> None:
    keeper.pupae.found("P1", "Roof")
    wrote_newer(keeper.journal.path, keeper)
    before = bodies(keeper.journal.path)
    with pytest.raises(Unusable, match=r"newer pupawatch \(weighed\): update pupawatch to write in it"):
        keeper.pupae.saw("P1", "clear")
    assert run("saw", "P1", "clear").code == 3
    assert bodies(keeper.journal.path) == before


def test_a_field_nobody_knows_closes_the_journal_once_it_was_read(keeper: Keeper) -> None:
    keeper.pupae.found("P1", "Roof")
    pupa = keeper.pupa("P1").id
    wrote_newer(keeper.journal.path, keeper, kind="note", pupa=pupa, text="heavy", by="somebody")
    with pytest.raises(Unusable, match="newer pupawatch: update"):
        keeper.pupae.saw("P1", "clear")


def test_a_backup_keeps_it(newer: Keeper, run: Run, tmp_path: Path) -> None:
    assert run("backup", tmp_path / "kept.db").code == 0
    assert bodies(tmp_path / "kept.db") == bodies(newer.journal.path)


def test_salvage_keeps_it(newer: Keeper, tmp_path: Path) -> None:
    anew = Journal(tmp_path / "anew.db")
    with anew.writing(None):
        salvage.into(anew, salvage.read(newer.journal.path))
    anew.close()
    assert sorted(bodies(tmp_path / "anew.db")) == sorted(bodies(newer.journal.path))


def test_a_merge_warns_before_it_brings_it_in(newer: Keeper, run: Run, tmp_path: Path) -> None:
    own = tmp_path / "own.db"
    assert run("--journal", own, "found", "P9", "--place", "Jar").code == 0
    before = bodies(own)
    refused = run("--journal", own, "merge", newer.journal.path)
    assert refused.code == 2
    assert "1 entry written by a newer pupawatch" in refused.err
    assert "--with-newer" in refused.err
    assert bodies(own) == before
    assert run("--journal", own, "merge", newer.journal.path, "--with-newer").code == 0
    assert set(bodies(newer.journal.path)) < set(bodies(own))


def test_a_merge_refuses_an_unknown_kind_that_nobody_can_have_written(keeper: Keeper, run: Run, tmp_path: Path) -> None:
    keeper.pupae.found("P1", "Roof")
    wrote_newer(keeper.journal.path, keeper, text="\x1b[2J")
    keeper.journal.close()
    answer = run("--journal", tmp_path / "own.db", "merge", keeper.journal.path, "--with-newer")
    assert answer.code == 3
    assert "hidden characters" in answer.err
