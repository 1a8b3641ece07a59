"""Two journals united: nothing of either is lost, in whatever order it is done, and both sides read the same.

The laws are those of a join of sets (a semilattice): commutative, associative, idempotent. The rest is what this
program promises its keeper.
"""

import sqlite3
import tempfile
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import msgspec.structs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pupawatch.errors import AskFirst, Unusable
from pupawatch.exchange.notebook import bringing as bring
from pupawatch.journal import merge
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.model import entries as kinds
from pupawatch.model.entries import Entry
from pupawatch.model.ids import entry_id
from pupawatch.model.state import State
from pupawatch.model.times import iso_exact

NOW = datetime(2026, 9, 8, 11, 40, tzinfo=UTC)
DAY = date(2026, 9, 8)
Reading = tuple[str, int, float]
STAMP: dict[str, Any] = {
    "id": entry_id(NOW, b"12345678"),
    "act": entry_id(NOW, b"12345678"),
    "happened": NOW,
    "recorded": NOW,
    "zone": "UTC",
}


def read(journal: Journal) -> list[Entry]:
    return [entry for some in journal.read_all() for entry in some]


def keep(path: Path, entries: list[Entry], readings: list[Reading] = []) -> Journal:  # noqa: B006
    """A journal with these entries, each taken in as from another one."""
    journal = Journal(path)
    with tempfile.TemporaryDirectory() as folder:
        for number, entry in enumerate(entries):
            other = Journal(Path(folder) / f"{number}.db")
            with other.writing(None) as append:
                append([entry])
            with journal.writing(None):
                merge.unite(journal, other)
            other.close()
    with journal.writing(None):
        journal.add_readings(readings)
    return journal


def united(path: Path, *journals: Journal) -> Journal:
    """A new journal at ``path`` that took in one after the other."""
    journal = Journal(path)
    for other in journals:
        with journal.writing(None):
            merge.unite(journal, other)
    return journal


def told(journal: Journal) -> tuple[Any, ...]:
    """All that a journal says: the tellings of each entry, what they amount to, and the readings."""
    entries = read(journal)
    state = State(entries)
    return (
        sorted(map(repr, entries)),
        state.pupae,
        state.looks,
        state.retracted,
        sorted(journal.every_reading()),
        [journal.readings(name, 0, 9e9) for name, *_ in journal.sensors()],
    )


# A few ids, acts, pupae and times, so that two journals often tell of the same entry, alike and differently.
NUMBER = st.integers(0, 3)


def _id(number: int) -> str:
    return entry_id(NOW + timedelta(minutes=number), bytes(8))


@st.composite
def some_entry(draw: st.DrawFn) -> Entry:
    number = draw(st.integers(0, 7))
    at = NOW - timedelta(hours=draw(NUMBER))
    common: dict[str, Any] = {
        "id": _id(number),
        "act": draw(st.sampled_from([_id(number), _id(number + 20)])),
        "happened": at,
        "since": draw(st.sampled_from([None, at - timedelta(hours=1)])),
        "recorded": NOW + timedelta(days=draw(st.integers(0, 1))),
        "zone": draw(st.sampled_from(["UTC", "America/Chicago"])),
    }
    about: dict[str, Any] = {"pupa": _id(90 + draw(st.integers(0, 1))), "history": draw(st.booleans())}
    match draw(st.sampled_from(("found", "seen", "moved", "emerged", "looked", "retraction"))):
        case "found":
            return kinds.Found(**common, **about, label="A1", species="monarch", place=f"place {draw(NUMBER)}")
        case "seen":
            return kinds.Seen(**common, **about, stage=draw(st.sampled_from(["set", "clear"])))
        case "moved":
            return kinds.Moved(**common, **about, to=f"place {draw(NUMBER)}")
        case "emerged":
            return kinds.Emerged(**common, **about)
        case "looked":
            return kinds.Looked(**common, place=f"place {draw(NUMBER)}")
        case _:
            acts = [_id(n) for n in (*range(8), *range(20, 28))]
            return kinds.Retraction(**common, target=draw(st.sampled_from(acts)))


READINGS = st.lists(
    st.tuples(st.sampled_from(["home", "yard"]), st.integers(0, 3), st.sampled_from([20.0, 20.5])), max_size=4
)
ONE = st.tuples(st.lists(some_entry(), max_size=6), READINGS)


@settings(max_examples=15, deadline=None)
@given(first=ONE, second=ONE, third=ONE)
def test_uniting_is_commutative_associative_and_idempotent(first: Any, second: Any, third: Any) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        a, b, c = (keep(folder / f"{n}.db", *one) for n, one in enumerate((first, second, third)))
        ab, ba = united(folder / "ab.db", a, b), united(folder / "ba.db", b, a)
        assert told(ab) == told(ba)
        bc = united(folder / "bc.db", b, c)
        ab_c, a_bc = united(folder / "ab-c.db", ab, c), united(folder / "a-bc.db", a, bc)
        assert told(ab_c) == told(a_bc)
        before = told(ab)
        for again in (a, b, ab, ba):
            with ab.writing(None):
                assert merge.unite(ab, again) == merge.Merged()
        assert told(ab) == before
        assert {repr(entry) for entry in (*read(a), *read(b))} == {repr(entry) for entry in read(ab)}
        for journal in (a, b, c, ab, ba, bc, ab_c, a_bc):
            assert journal.problems() == []
            journal.close()


@settings(max_examples=60, deadline=None)
@given(entries=st.lists(some_entry(), max_size=10), order=st.randoms(use_true_random=False))
def test_what_is_told_differently_amounts_to_the_same_in_any_order(entries: list[Entry], order: Any) -> None:
    whole = State(entries)
    shuffled = entries * 2
    order.shuffle(shuffled)
    portions = State()
    for entry in shuffled:
        portions.add([entry])
    assert portions.pupae == whole.pupae
    assert portions.looks == whole.looks
    assert portions.retracted == whole.retracted


@settings(max_examples=15, deadline=None)
@given(entries=st.lists(some_entry(), max_size=10))
def test_what_a_round_reads_of_a_united_journal_says_the_same_as_the_whole(entries: list[Entry]) -> None:
    found = [
        kinds.Found(id=_id(50 + n), act=_id(50 + n), happened=NOW - timedelta(days=80), recorded=NOW, zone="UTC",
                    pupa=_id(90 + n), label=f"A{n}", species="monarch", place="place 0")
        for n in range(2)
    ]  # fmt: skip
    with tempfile.TemporaryDirectory() as name:
        journal = keep(Path(name) / "journal.db", [*found, *entries])
        whole, current = State(read(journal)), State()
        for some in journal.read_current(NOW + timedelta(days=1)):
            current.add(some)
        journal.close()
    assert current.open_pupae() == whole.open_pupae()
    for number in range(4):
        assert current.last_look(f"place {number}", NOW) == whole.last_look(f"place {number}", NOW)


# -- two people


@pytest.fixture
def partner(tmp_path: Path, keeper: Keeper, clock: Any) -> Keeper:
    """Another keeper, on another computer, with the same settings."""
    return Keeper(Journal(tmp_path / "partner.db"), keeper.settings, clock, tmp_path / "partner")


SEASON = (
    "label,site,formed_from,formed_to,emerged_to\nA1,Jar,2026-08-01,2026-08-02T07:00,2026-08-12\nA2,Roof,,2026-08-20,\n"
)


def test_two_people_take_in_each_others_acts_and_see_the_same(keeper: Keeper, partner: Keeper, clock: Any) -> None:
    keeper.pupae.found("A1", "Roof")
    partner.merge(keeper.journal.path)
    clock.on(hours=1)
    partner.pupae.saw("A1", "set")
    keeper.pupae.fell("A1")
    assert keeper.merge(partner.journal.path) == merge.Merged(1, 0, 0)
    assert partner.merge(keeper.journal.path) == merge.Merged(1, 0, 0)
    assert keeper.state.pupae == partner.state.pupae
    assert (keeper.pupa("A1").stage_seen, keeper.pupa("A1").danger) == ("set", "fallen")
    assert keeper.merge(partner.journal.path) == merge.Merged()


def undo_although_asked(keeper: Keeper) -> None:
    """Undo an import, which asks first."""
    with pytest.raises(AskFirst) as asked:
        keeper.undo()
    keeper.undo_act(asked.value.act)


def test_one_notebook_brought_in_by_both_is_one_history_and_no_contradiction(
    keeper: Keeper, partner: Keeper, clock: Any, tmp_path: Path
) -> None:
    (tmp_path / "season.csv").write_text(SEASON, encoding="utf-8")
    bring.notebook_in(keeper, tmp_path / "season.csv")
    clock.on(days=1)
    bring.notebook_in(partner, tmp_path / "season.csv")
    assert keeper.merge(partner.journal.path) == merge.Merged(3, 0, 3)
    partner.merge(keeper.journal.path)
    mine, theirs = keeper.whole_state(), partner.whole_state()
    assert mine.pupae == theirs.pupae
    assert sorted(len(pupa.entries) for pupa in mine.pupae.values()) == [1, 2]
    assert [pupa.flags for pupa in mine.pupae.values()] == [[], []]
    undo_although_asked(keeper)  # takes back only one of the two
    assert len(keeper.whole_state().pupae) == 2
    assert bring.notebook_in(keeper, tmp_path / "season.csv")[1] == 0
    undo_although_asked(keeper)
    assert keeper.whole_state().pupae == {}
    partner.merge(keeper.journal.path)
    assert partner.whole_state().pupae == {}


def test_what_claims_least_counts_and_is_flagged_where_two_tell_one_thing_differently(
    keeper: Keeper, partner: Keeper
) -> None:
    (entry,) = keeper.pupae.found("A1", "Roof").entries
    other = msgspec.structs.replace(entry, happened=entry.happened - timedelta(hours=30), recorded=NOW)
    with partner.journal.writing(DAY) as append:
        append([other])
    keeper.merge(partner.journal.path)
    partner.merge(keeper.journal.path)
    for one in (keeper, partner):
        pupa = one.pupa("A1")
        assert pupa.formed_to == entry.happened  # so that it is not moved too early
        assert pupa.flags == ["told-differently"]


def test_a_second_told_differently_reads_the_same_on_both_sides(keeper: Keeper, partner: Keeper) -> None:
    for one, celsius in ((keeper, 21.5), (partner, 20.5)):
        one.temperatures.log([("home", 1000, celsius), ("home", 2000, 19.0)], {"home": None}, [])
    assert keeper.merge(partner.journal.path).readings == 1
    partner.merge(keeper.journal.path)
    for one in (keeper, partner):
        assert one.journal.readings("home", 0, 9e9) == ([1000, 2000], [20.5, 19.0])
        assert one.journal.disputed_readings() == 1


# -- at the command line


@pytest.fixture
def other(partner: Keeper) -> Path:
    partner.pupae.found("B1", "Attic")
    partner.journal.close()
    return partner.journal.path


def test_a_rehearsal_tells_what_would_come_and_writes_nothing(
    run: Callable[..., Any], other: Path, journal_path: Path
) -> None:
    run("found", "A1", "--place", "Roof")
    before, untouched = journal_path.read_bytes(), other.read_bytes()
    answer = run("merge", other, "--dry-run")
    assert answer == (0, "New: 1 entry, 0 readings.\nNothing was written (--dry-run).\n", "")
    assert run("history", "B1").code == 2
    assert (journal_path.read_bytes(), other.read_bytes()) == (before, untouched)
    assert run("merge", other) == (0, "New: 1 entry, 0 readings.\n", "")
    assert run("history", "B1").code == 0
    assert "Attic" in run("places").out
    assert run("merge", other) == (0, "New: 0 entries, 0 readings.\n", "")


def hostile(other: Path, filed_as: str = "", **changes: Any) -> None:
    """Change the only entry of a journal, as an ill-meaning program could, its columns and checksum with it.

    filed_as: the kind that its columns name, where they shall not agree."""
    from pupawatch.journal.schema import COLUMNS, checksum

    with closing(sqlite3.connect(other)) as file, file:
        row = list(file.execute(f"SELECT {COLUMNS} FROM entry").fetchone())
        entry = msgspec.structs.replace(kinds.decode(row[5]), **changes)
        row = [entry.id, entry.act, kinds.kind_of(entry), entry.about, iso_exact(entry.happened)]
        row[2] = filed_as or row[2]
        row.append(kinds.encode(entry).decode())
        file.execute("DROP TRIGGER entry_kept_on_delete")
        file.execute("DELETE FROM entry")
        file.execute("INSERT INTO entry VALUES (1, ?, ?, ?, ?, ?, ?, ?)", (*row[:6], checksum(*row[:6])))
        file.execute(
            "CREATE TRIGGER entry_kept_on_delete BEFORE DELETE ON entry\n"
            "            BEGIN SELECT RAISE(ABORT, 'the journal only grows: entries are never removed'); END"
        )


@pytest.mark.parametrize(
    "changes",
    [
        {"id": "ffffffff-ffff-7fff-bfff-ffffffffffff"},
        {"id": "{01a0e6b4-9a00-7000-8000-000000000000}"},
        {"id": "first"},
        {"happened": datetime(1, 1, 1, tzinfo=UTC)},
        {"happened": datetime(9999, 12, 31, tzinfo=UTC)},
        {"since": datetime(1800, 1, 1, tzinfo=UTC)},
        {"label": "\x1b]0;mine\x07"},
        {"label": "A\u202e1"},
        {"place": "x" * 41},
        {"filed_as": "note"},
        {"pupa": "A1"},
        {"pupa": "01A0E6B4-9A00-7000-8000-000000000000"},
        {"act": "first"},
    ],
    ids=str,
)
def test_what_no_pupawatch_can_have_written_is_not_taken_in(
    run: Callable[..., Any], other: Path, changes: dict[str, Any]
) -> None:
    run("found", "A1", "--place", "Roof")
    hostile(other, **changes)
    answer = run("merge", other)
    assert (answer.code, answer.out) == (3, "")
    assert "nothing was merged" in answer.err
    assert all(sign.isprintable() or sign == "\n" for sign in answer.err)
    assert run("check").out.splitlines()[0].endswith(": 1 entries, all undamaged.")
    assert run("saw", "A1", "set").code == 0


@pytest.mark.parametrize(
    "entry",
    [
        kinds.Measured(**STAMP, place="Roof", day="notaday", low_c=10, high_c=20),
        kinds.Tied(**STAMP, sensor="s", places=["\x1b[31mRoof"]),
        kinds.Tied(**STAMP, sensor="s", places=["x" * 5000]),
    ],
    ids=repr,
)
def test_neither_a_day_that_is_none_nor_a_trick_in_a_list_is_taken_in(
    run: Callable[..., Any], tmp_path: Path, entry: Entry
) -> None:
    other = Journal(tmp_path / "other.db")
    with other.writing(None) as append:
        append([entry])
    other.close()
    assert run("merge", other.path).code == 3
    assert run("today").code == 0


def test_after_a_merge_undo_takes_back_ones_own_last_act_and_not_an_older_one_of_the_other(
    keeper: Keeper, partner: Keeper, clock: Any
) -> None:
    partner.pupae.found("B1", "Roof")
    clock.on(hours=1)
    keeper.pupae.found("A1", "Roof")
    keeper.merge(partner.journal.path)
    assert keeper.undo().words == "Undone: A1 pupa found in Roof."
    assert keeper.redo().words == "Redone: A1 pupa found in Roof."


def test_a_pupa_whose_finding_was_taken_back_leaves_no_place_without_a_name(
    run: Callable[..., Any], keeper: Keeper, partner: Keeper
) -> None:
    keeper.pupae.found("P5", "Roof")
    partner.merge(keeper.journal.path)
    keeper.undo()
    partner.pupae.saw("P5", "set")
    partner.journal.close()
    assert run("merge", partner.journal.path).code == 0
    assert run("today").code == 0


def test_a_damaged_log_beside_the_other_journal_is_not_passed_over(
    run: Callable[..., Any], partner: Keeper, as_killed: Callable[[Path], Path]
) -> None:
    partner.pupae.found("B1", "Attic")
    partner.pupae.note("B1", "the newest")
    path = as_killed(partner.journal.path)
    log = path.with_name(path.name + "-wal")
    damaged = bytearray(log.read_bytes())
    damaged[-100] ^= 1
    log.write_bytes(damaged)
    assert run("merge", path).code == 3
    assert log.read_bytes() == damaged


def test_only_a_whole_journal_is_taken_in(run: Callable[..., Any], other: Path, tmp_path: Path) -> None:
    run("found", "A1", "--place", "Roof")
    (tmp_path / "words").write_text("Dear diary", encoding="utf-8")
    whole = other.read_bytes()
    assert whole.count(b"Attic") > 0
    other.write_bytes(whole.replace(b"Attic", b"attic"))
    for wrong in (other, tmp_path / "words", tmp_path / "nowhere.db", tmp_path):
        assert run("merge", wrong).code == 3
    with pytest.raises(Unusable, match="not an undamaged journal"), merge.opened(other):
        pass
