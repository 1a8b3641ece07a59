"""Undo and redo: what goes without asking, what is asked first, and that nothing else is ever taken back.

What is expected is what this program promises its keeper.
"""

import json
import tempfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from pupawatch import settings as files
from pupawatch.errors import AskFirst, NotUnderstood, Unusable
from pupawatch.exchange.notebook import bringing as bring
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.keeper.session import Edited, taken_back
from pupawatch.model import entries as kinds
from pupawatch.model.entries import Entry
from pupawatch.model.ids import entry_id
from pupawatch.model.settings import Place
from pupawatch.model.state import State
from pupawatch.model.times import Span

Run = Callable[..., Any]
SEASON = "label,site,formed_to\nN1,Roof,2026-08-01T07:00\nN2,Roof,2026-08-02T07:00\n"


@pytest.fixture
def partner(tmp_path: Path, keeper: Keeper, clock: Any) -> Iterator[Keeper]:
    """Another person with a journal of their own, at the same clock."""
    other = Keeper(Journal(tmp_path / "partner.db"), keeper.settings, clock, tmp_path / "partner")
    yield other
    other.journal.close()


@pytest.fixture
def again(keeper: Keeper, config: Path, clock: Any) -> Iterator[Callable[[], Keeper]]:
    """Starts another program on the same journal."""
    started: list[Keeper] = []

    def start() -> Keeper:
        started.append(Keeper(Journal(keeper.journal.path), files.load(config), clock, config))
        return started[-1]

    yield start
    for one in started:
        one.journal.close()


@pytest.fixture
def notebook(tmp_path: Path) -> Path:
    path = tmp_path / "season.csv"
    path.write_text(SEASON, encoding="utf-8")
    return path


def labels(keeper: Keeper) -> list[str]:
    keeper.refresh()
    return [pupa.label for pupa in keeper.state.open_pupae()]


def last_year(number: int) -> Iterator[Entry]:
    """Looks of last year, each an act of its own."""
    at = datetime(2025, 8, 1, tzinfo=UTC)
    for count in range(number):
        at += timedelta(minutes=1)
        stamp = entry_id(at, count.to_bytes(8, "big"))
        yield kinds.Looked(id=stamp, act=stamp, happened=at, recorded=at, zone="UTC", place=f"Shelf {count}")


# -- this program


def test_undo_takes_back_what_this_program_did_the_newest_first(keeper: Keeper) -> None:
    keeper.pupae.found("A1", "Roof")
    keeper.pupae.saw("A1", "darkening")
    assert keeper.undo().words == "Undone: A1 seen darkening."
    assert keeper.undo().words == "Undone: A1 pupa found in Roof."
    assert labels(keeper) == []


def test_what_was_there_before_this_program_began_is_asked_about_and_named(
    keeper: Keeper, again: Callable[[], Keeper], clock: Any
) -> None:
    keeper.pupae.found("A1", "Roof")
    clock.on(days=1)
    later = again()
    with pytest.raises(AskFirst) as asked:
        later.undo()
    assert asked.value.question == (
        "Nothing is left to undo since this program was opened. Undo would take back: A1 pupa found in Roof, "
        "1 entry, recorded yesterday 06:40."
    )
    assert labels(later) == ["A1"]
    assert later.undo_act(asked.value.act).words == "Undone: A1 pupa found in Roof."
    assert labels(later) == []


def test_what_was_asked_about_and_taken_back_can_be_redone(keeper: Keeper, again: Callable[[], Keeper]) -> None:
    keeper.pupae.found("A1", "Roof")
    later = again()
    with pytest.raises(AskFirst) as asked:
        later.undo()
    later.undo_act(asked.value.act)
    assert later.redo().words == "Redone: A1 pupa found in Roof."
    assert labels(later) == ["A1"]


def test_undo_leaves_what_another_program_did_meanwhile(keeper: Keeper, again: Callable[[], Keeper]) -> None:
    other = again()
    keeper.pupae.found("A1", "Roof")
    other.pupae.found("B1", "Jar")
    assert keeper.undo().words == "Undone: A1 pupa found in Roof."
    with pytest.raises(AskFirst, match="B1 pupa found in Jar"):
        keeper.undo()
    assert labels(keeper) == ["B1"]


def test_undo_goes_on_to_the_act_before_where_another_program_was_first(
    keeper: Keeper, again: Callable[[], Keeper]
) -> None:
    keeper.pupae.found("A1", "Roof")
    keeper.pupae.saw("A1", "darkening")
    assert again().undo_of_today().words == "Undone: A1 seen darkening."
    assert keeper.undo().words == "Undone: A1 pupa found in Roof."


def test_an_empty_journal_has_nothing_to_undo(keeper: Keeper) -> None:
    with pytest.raises(NotUnderstood, match=r"^There is nothing to undo\.$"):
        keeper.undo()


def test_an_import_is_asked_about_and_named_also_where_this_program_made_it(keeper: Keeper, notebook: Path) -> None:
    keeper.pupae.found("A1", "Roof")
    bring.notebook_in(keeper, notebook)
    with pytest.raises(AskFirst) as asked:
        keeper.undo()
    assert asked.value.question == "Undo would take back: an import of 2 entries: N1, N2, recorded 06:40."
    assert labels(keeper) == ["A1", "N1", "N2"]
    assert keeper.undo_act(asked.value.act).words == "Undone: an import of 2 entries: N1, N2."
    assert labels(keeper) == ["A1"]
    keeper.redo()
    assert labels(keeper) == ["A1", "N1", "N2"]


def test_what_is_done_after_an_import_comes_after_it_also_at_a_clock_that_stands_still(
    keeper: Keeper, notebook: Path
) -> None:
    for number in range(8):
        notebook.write_text(f"label,site,formed_to\nN{number},Roof,2026-08-01T07:00\n", encoding="utf-8")
        bring.notebook_in(keeper, notebook)
        brought = keeper.journal.last_act()
        assert keeper.pupae.saw(f"N{number}", "set").entries[0].act > brought


def test_an_act_of_very_many_entries_is_asked_about(keeper: Keeper) -> None:
    keeper.places.looked([f"Shelf {number}" for number in range(101)])
    with pytest.raises(AskFirst, match="Shelf 0, Shelf 1, Shelf 2 and 98 more visited, 101 entries"):
        keeper.undo()


def test_one_round_is_one_act_and_its_places_are_named(keeper: Keeper) -> None:
    keeper.places.looked()
    assert keeper.undo().words == "Undone: Roof, Jar visited."


def test_after_a_merge_of_more_than_5000_entries_undo_takes_back_ones_own_act(
    run: Run, tmp_path: Path, partner: Keeper
) -> None:
    run("found", "A1", "--place", "Roof")
    with partner.journal.writing(None) as append:
        append(last_year(6000))
    assert run("merge", partner.journal.path).code == 0
    assert run("undo").out == "Undone: A1 pupa found in Roof.\n"
    answer = run("undo")
    assert answer.code == 2
    assert "Shelf 5999 visited" in answer.err


def test_after_such_a_merge_the_next_act_that_is_asked_about_is_the_newest_of_all(
    keeper: Keeper, partner: Keeper, again: Callable[[], Keeper]
) -> None:
    keeper.pupae.found("A1", "Roof")
    with partner.journal.writing(None) as append:
        append(last_year(6000))
    keeper.merge(partner.journal.path)
    with pytest.raises(AskFirst, match="A1 pupa found in Roof"):
        again().undo()


# -- places


def test_an_edit_of_a_place_is_undone_and_redone_in_its_turn_and_in_the_file(keeper: Keeper, config: Path) -> None:
    keeper.pupae.found("A1", "Roof")
    keeper.places.describe(msgspec.structs.replace(keeper.settings.place("Roof"), capacity=14))
    keeper.pupae.saw("A1", "darkening")
    assert keeper.undo().words == "Undone: A1 seen darkening."
    assert keeper.undo().words == "Undone: Roof room 12 → 14."
    assert files.load(config).place("Roof").capacity == 12
    assert keeper.undo().words == "Undone: A1 pupa found in Roof."
    assert keeper.redo().words == "Redone: A1 pupa found in Roof."
    assert keeper.redo().words == "Redone: Roof room 12 → 14."
    assert files.load(config).place("Roof").capacity == 14
    assert keeper.redo().words == "Redone: A1 seen darkening."


@pytest.mark.parametrize(
    ("edit", "words"),
    [
        (lambda k: k.places.describe(Place(name="Line", surface="line")), "Line added"),
        (lambda k: k.places.walk("Jar", 0), "Jar number 1 of the round"),
        (lambda k: k.places.quarantine(["Roof"], True), "Roof in quarantine"),
        (lambda k: k.places.quarantine(["Roof", "Jar"], True), "Roof, Jar in quarantine"),
        (lambda k: k.places.quarantine(["Attic"], True), "Attic added"),
        (lambda k: k.places.describe(Place(name="Jar", surface="glass", retired=True)),
         "Jar room 2 → –, retired no → yes"),
        (lambda k: k.places.describe(Place(name="Jar", surface="glass", capacity=2, temperature_c=7.5)),
         "Jar kept at – → 7.5 °C"),
    ],
)  # fmt: skip
def test_each_kind_of_edit_is_taken_back_and_made_again(
    keeper: Keeper, config: Path, edit: Callable[[Keeper], object], words: str
) -> None:
    before = keeper.settings.places
    edit(keeper)
    after = keeper.settings.places
    assert after != before
    assert keeper.undo().words == f"Undone: {words}."
    assert (keeper.settings.places, files.load(config).places) == (before, before)
    assert keeper.redo().words == f"Redone: {words}."
    assert (keeper.settings.places, files.load(config).places) == (after, after)


def test_an_edit_that_changed_nothing_is_no_step(keeper: Keeper) -> None:
    keeper.pupae.found("A1", "Roof")
    keeper.places.describe(keeper.settings.place("Roof"))
    keeper.places.walk("Roof", 0)
    assert keeper.undo().words == "Undone: A1 pupa found in Roof."


def test_an_edit_of_a_place_that_another_program_changed_since_is_left_as_it_is(
    keeper: Keeper, config: Path, again: Callable[[], Keeper]
) -> None:
    keeper.pupae.found("A1", "Roof")
    keeper.places.quarantine(["Roof"], True)
    other = again()
    other.places.describe(msgspec.structs.replace(other.settings.place("Roof"), capacity=3))
    text = (config / "places.toml").read_text(encoding="utf-8")
    with pytest.raises(NotUnderstood, match=r"^Roof was changed elsewhere since.*Roof in quarantine"):
        keeper.undo()
    assert (config / "places.toml").read_text(encoding="utf-8") == text
    assert keeper.undo().words == "Undone: A1 pupa found in Roof."  # it does not bar the way


def test_an_undone_edit_of_a_place_that_another_program_changed_since_is_not_redone(
    keeper: Keeper, config: Path, again: Callable[[], Keeper]
) -> None:
    keeper.places.quarantine(["Roof"], True)
    keeper.undo()
    again().places.describe(Place(name="Roof", surface="wood"))
    with pytest.raises(NotUnderstood, match="changed elsewhere"):
        keeper.redo()
    assert files.load(config).place("Roof") == Place(name="Roof", surface="wood")


def test_what_another_program_did_to_another_place_stays(
    keeper: Keeper, config: Path, again: Callable[[], Keeper]
) -> None:
    keeper.places.quarantine(["Roof"], True)
    again().places.describe(Place(name="Line", surface="line"))
    keeper.undo()
    places = {place.name: place for place in files.load(config).places}
    assert list(places) == ["Roof", "Jar", "Line"]
    assert not places["Roof"].quarantined


def test_the_order_of_the_walk_that_another_program_changed_since_stays(
    keeper: Keeper, config: Path, again: Callable[[], Keeper]
) -> None:
    keeper.places.walk("Jar", 0)
    again().places.describe(Place(name="Line", surface="line"))
    with pytest.raises(NotUnderstood, match="The order of the round was changed elsewhere"):
        keeper.undo()
    assert [place.name for place in files.load(config).places] == ["Jar", "Roof", "Line"]


def test_places_that_cannot_be_written_leave_the_edit_to_be_undone_later(
    keeper: Keeper, config: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    keeper.places.quarantine(["Roof"], True)

    def full(*_: object) -> None:
        raise Unusable("disk full")

    with monkeypatch.context() as broken:
        broken.setattr(files, "save_places", full)
        with pytest.raises(Unusable, match="disk full"):
            keeper.undo()
    assert keeper.undo().words == "Undone: Roof in quarantine."


def test_a_place_taken_out_of_the_middle_comes_back_to_its_turn() -> None:
    roof, jar, line = (Place(name=name) for name in ("Roof", "Jar", "Line"))
    removed = Edited(("Jar",), [roof, jar, line], [roof, line])
    assert taken_back(removed, [roof, line]) == [roof, jar, line]


# -- redo


def test_redo_is_refused_once_something_new_was_done(keeper: Keeper) -> None:
    keeper.pupae.found("A1", "Roof")
    keeper.pupae.saw("A1", "darkening")
    keeper.undo()
    keeper.pupae.saw("A1", "clear")
    with pytest.raises(NotUnderstood, match="nothing to redo: something new was done after the last undo"):
        keeper.redo()
    assert keeper.pupa("A1").stage_seen == "clear"


def test_an_edit_of_a_place_is_something_new_too(keeper: Keeper) -> None:
    keeper.pupae.found("A1", "Roof")
    keeper.undo()
    keeper.places.quarantine(["Roof"], True)
    with pytest.raises(NotUnderstood, match="something new was done"):
        keeper.redo()


def test_with_nothing_undone_there_is_nothing_to_redo(keeper: Keeper) -> None:
    keeper.pupae.found("A1", "Roof")
    with pytest.raises(NotUnderstood, match="nothing to redo: nothing is undone"):
        keeper.redo()


def test_redo_goes_on_where_another_program_recorded_something_else(
    keeper: Keeper, again: Callable[[], Keeper]
) -> None:
    keeper.pupae.found("A1", "Roof")
    keeper.undo()
    again().pupae.found("B1", "Jar")
    keeper.redo()
    assert labels(keeper) == ["A1", "B1"]


def test_redo_is_refused_where_another_program_recorded_something_about_the_same_pupa(
    keeper: Keeper, again: Callable[[], Keeper]
) -> None:
    keeper.pupae.found("A1", "Roof")
    keeper.pupae.saw("A1", "darkening")
    keeper.undo()
    again().pupae.saw("A1", "clear")
    with pytest.raises(NotUnderstood, match=r"A1 seen darkening: it cannot be redone.*A1 seen clear"):
        keeper.redo()


def test_what_another_program_redid_is_not_redone_twice(keeper: Keeper, again: Callable[[], Keeper]) -> None:
    keeper.pupae.found("A1", "Roof")
    keeper.undo()
    again().redo_of_today()
    with pytest.raises(NotUnderstood, match="Already redone: A1 pupa found in Roof"):
        keeper.redo()
    assert labels(keeper) == ["A1"]


# -- the command line


def test_each_command_takes_back_what_any_program_recorded_today(run: Run, keeper: Keeper) -> None:
    keeper.pupae.found("A1", "Roof")
    run("saw", "A1", "darkening")
    assert run("undo").out == "Undone: A1 seen darkening.\n"
    assert run("undo").out == "Undone: A1 pupa found in Roof.\n"


def test_what_was_recorded_before_todays_round_began_is_only_named(run: Run, clock: Any) -> None:
    run("found", "A1", "--place", "Roof")
    clock.now = datetime(2026, 9, 9, 8, 1, tzinfo=UTC)  # 03:01; the round of a day begins at 3
    answer = run("undo")
    assert (answer.code, answer.out) == (2, "")
    told = answer.err
    assert (
        "Nothing recorded here since 03:00 is left to undo. Undo would take back: A1 pupa found in Roof, 1 entry"
        in told
    )
    assert "recorded yesterday 06:40. Nothing was undone; `pupawatch undo " in told
    assert "A1" in run("pupae").out


def test_after_midnight_it_is_still_the_same_round(run: Run, clock: Any) -> None:
    run("found", "A1", "--place", "Roof")
    clock.now = datetime(2026, 9, 9, 7, 59, tzinfo=UTC)  # 02:59
    assert run("undo").out == "Undone: A1 pupa found in Roof.\n"


def test_the_act_that_was_named_is_taken_back_when_it_is_typed(run: Run, clock: Any) -> None:
    run("found", "A1", "--place", "Roof")
    run("found", "A2", "--place", "Roof")
    clock.on(days=1)
    act = run("undo").err.split("pupawatch undo ")[1].split("`")[0]
    assert run("undo", act).out == "Undone: A2 pupa found in Roof.\n"
    assert run("undo", act) == (2, "", "pupawatch: Already undone: A2 pupa found in Roof.\n")


def test_a_beginning_of_an_id_names_an_act_where_only_one_has_it(run: Run, keeper: Keeper, clock: Any) -> None:
    acts = []
    for label in ("A1", "A2", "A3"):
        acts.append(keeper.pupae.found(label, "Roof").entries[0].act)
        clock.on(hours=1)
    assert run("undo", acts[0][:13]).out == "Undone: A1 pupa found in Roof.\n"
    assert f"“{acts[1][:7]}” is too short for an act's id; type 8 characters or more." in run("undo", acts[1][:7]).err
    assert "No act has an id that begins with “ffffffff”" in run("undo", "ffffffff").err


def test_acts_of_one_minute_share_the_beginning_of_their_ids_and_neither_is_taken_back(
    run: Run, keeper: Keeper
) -> None:
    one = keeper.pupae.found("A1", "Roof").entries[0].act
    other = keeper.pupae.found("A2", "Roof").entries[0].act
    answer = run("undo", one[:8])
    assert answer.code == 2
    assert f"2 acts have an id that begins with “{one[:8]}”; type more of it: {one}, {other}" in answer.err
    assert labels(keeper) == ["A1", "A2"]


def test_the_history_of_a_pupa_shows_the_ids_to_type(run: Run, keeper: Keeper) -> None:
    act = keeper.pupae.found("A1", "Roof").entries[0].act
    assert [entry["act"] for entry in json.loads(run("history", "A1", "--json").out)["entries"]] == [act]


def test_a_retraction_is_an_act_too_and_its_undo_brings_back_what_it_took(run: Run, keeper: Keeper, clock: Any) -> None:
    keeper.pupae.found("A1", "Roof")
    retraction = keeper.undo().entries[0].act
    clock.on(days=1)
    answer = run("redo")
    assert answer.code == 2
    assert "The last undo is older than today: A1 pupa found in Roof, undone yesterday 06:40" in answer.err
    assert f"`pupawatch undo {retraction}` makes it count again" in answer.err
    assert run("undo", retraction).out == "Redone: A1 pupa found in Roof.\n"
    assert labels(keeper) == ["A1"]


def test_an_import_is_asked_about_on_the_command_line_too(run: Run, notebook: Path) -> None:
    run("found", "A1", "--place", "Roof")
    run("import", notebook)
    answer = run("undo")
    assert answer.code == 2
    assert "Undo would take back: an import of 2 entries: N1, N2" in answer.err
    act = answer.err.split("pupawatch undo ")[1].split("`")[0]
    assert run("undo", act).out == "Undone: an import of 2 entries: N1, N2.\n"
    assert run("undo").out == "Undone: A1 pupa found in Roof.\n"


def test_what_was_merged_in_is_not_done_here_however_new_it_is(run: Run, partner: Keeper, clock: Any) -> None:
    run("found", "A1", "--place", "Roof")
    clock.on(minutes=10)
    partner.pupae.found("B1", "Roof")
    clock.on(minutes=10)
    partner.journal.close()
    assert run("merge", partner.journal.path).code == 0
    assert run("undo").out == "Undone: A1 pupa found in Roof.\n"
    answer = run("undo")
    assert answer.code == 2
    assert (
        "Nothing recorded here since 03:00 is left to undo. Undo would take back: B1 pupa found in Roof" in answer.err
    )


def test_what_was_merged_in_after_an_undo_does_not_stand_in_the_way_of_redo(
    run: Run, partner: Keeper, clock: Any
) -> None:
    run("found", "A1", "--place", "Roof")
    run("undo")
    clock.on(minutes=10)
    partner.pupae.found("B1", "Roof")
    partner.journal.close()
    run("merge", partner.journal.path)
    assert run("redo").out == "Redone: A1 pupa found in Roof.\n"


def test_an_act_of_another_command_ends_redo_and_is_named(run: Run) -> None:
    run("found", "A1", "--place", "Roof")
    run("undo")
    run("found", "A2", "--place", "Roof")
    assert run("redo") == (
        2, "", "pupawatch: There is nothing to redo: after the last undo this was recorded: A2 pupa found in Roof.\n",
    )  # fmt: skip


def test_an_edit_of_a_place_is_no_act_of_the_journal_and_undo_says_what_it_took_back(run: Run, config: Path) -> None:
    run("found", "A1", "--place", "Roof")
    run("quarantine", "Jar")
    assert run("undo").out == "Undone: A1 pupa found in Roof.\n"
    assert files.load(config).place("Jar").quarantined


def test_the_label_of_a_pupa_that_ended_long_ago_is_named(run: Run, keeper: Keeper, clock: Any) -> None:
    keeper.pupae.found("A1", "Roof")
    keeper.pupae.lost("A1", "unknown")
    clock.on(days=200)
    assert "Undo would take back: A1 lost: unknown, 1 entry, recorded 8 Sep 2026 06:40." in run("undo").err


def test_what_a_wrong_clock_put_into_the_future_is_asked_about(run: Run, clock: Any) -> None:
    clock.on(days=300)
    run("found", "A1", "--place", "Roof")
    clock.on(days=-300)
    run("found", "A2", "--place", "Roof")  # its id comes after that of A1, its time does not
    assert run("undo").out == "Undone: A2 pupa found in Roof.\n"
    assert "Undo would take back: A1 pupa found in Roof" in run("undo").err


# -- any order


class Undoing(RuleBasedStateMachine):
    """A keeper who does, undoes and redoes, beside a list kept by hand of what counts."""

    @initialize()
    def begin(self) -> None:
        self.folder = tempfile.TemporaryDirectory()
        folder = Path(self.folder.name)
        self.now = datetime(2026, 9, 8, 11, 40, tzinfo=UTC)
        places = [Place(name="Roof", surface="mesh"), Place(name="Jar", surface="glass")]
        shipped = msgspec.structs.replace(files.load(folder), zone="UTC", places=places)
        self.keeper = Keeper(Journal(folder / "j.db"), shipped, lambda: self.now, folder)
        formed = Span(self.now - timedelta(days=5), self.now - timedelta(days=5))
        before = [self.keeper.pupae.found(label, "Roof", when=formed).entries for label in ("A1", "A2")]
        self.keeper = Keeper(self.keeper.journal, shipped, lambda: self.now, folder)  # the program begins
        self.first = [entry for entries in before for entry in entries]
        self.counting: list[list[Entry] | tuple[list[Place], list[Place]]] = []
        self.undone: list[list[Entry] | tuple[list[Place], list[Place]]] = []

    def did(self, act: Callable[[], Any]) -> None:
        places = self.keeper.settings.places
        done = act()
        changed = self.keeper.settings.places
        if done.entries or changed != places:
            self.counting.append(done.entries or (places, changed))
            self.undone.clear()

    @rule(hours=st.sampled_from((1, 30)))
    def time_passes(self, hours: int) -> None:
        self.now += timedelta(hours=hours)

    @rule(label=st.sampled_from(("A1", "A2")), stage=st.sampled_from(("set", "darkening", "clear")))
    def see(self, label: str, stage: str) -> None:
        self.did(lambda: self.keeper.pupae.saw(label, stage))

    @rule()
    def look(self) -> None:
        self.did(self.keeper.places.looked)

    @rule(label=st.sampled_from(("A1", "A2")), to=st.sampled_from(("Roof", "Jar", "Line")))
    def move(self, label: str, to: str) -> None:
        if self.keeper.pupa(label).place != to:
            self.did(lambda: self.keeper.moves.move(label, to))

    @rule(name=st.sampled_from(("Roof", "Jar", "Line")), begin=st.booleans())
    def set_apart(self, name: str, begin: bool) -> None:
        self.did(lambda: self.keeper.places.quarantine([name], begin))

    @rule(name=st.sampled_from(("Roof", "Jar")), at=st.integers(0, 2))
    def walk(self, name: str, at: int) -> None:
        self.did(lambda: self.keeper.places.walk(name, at))

    @rule(name=st.sampled_from(("Roof", "Line")), capacity=st.none() | st.integers(1, 3))
    def describe(self, name: str, capacity: int | None) -> None:
        self.did(lambda: self.keeper.places.describe(Place(name=name, surface="mesh", capacity=capacity)))

    @rule()
    def undo(self) -> None:
        if self.counting:
            self.keeper.undo()
            self.undone.append(self.counting.pop())
        else:
            with pytest.raises(AskFirst):
                self.keeper.undo()

    @rule()
    def redo(self) -> None:
        if self.undone:
            self.keeper.redo()
            self.counting.append(self.undone.pop())
        else:
            with pytest.raises(NotUnderstood):
                self.keeper.redo()

    @invariant()
    def the_state_is_that_of_the_list_kept_by_hand(self) -> None:
        entries = [entry for step in self.counting if isinstance(step, list) for entry in step]
        by_hand = State([*self.first, *entries])
        for state in (self.keeper.state, self.keeper.whole_state()):
            assert state.pupae == by_hand.pupae
            looks = {place: looks[-1:] for place, looks in state.looks.items() if looks}
            assert looks == {place: looks[-1:] for place, looks in by_hand.looks.items() if looks}

    @invariant()
    def the_places_are_those_of_the_last_edit_that_counts(self) -> None:
        edits = [step for step in self.counting if isinstance(step, tuple)]
        undone = [step for step in self.undone if isinstance(step, tuple)]
        expected = edits[-1][1] if edits else undone[-1][0] if undone else None
        if expected is not None:
            assert self.keeper.settings.places == expected
            assert files.load(Path(self.folder.name)).places == expected

    def teardown(self) -> None:
        self.keeper.journal.close()
        self.folder.cleanup()


TestUndoing = Undoing.TestCase
TestUndoing.settings = settings(
    max_examples=40, stateful_step_count=25, deadline=None, suppress_health_check=list(HealthCheck)
)
