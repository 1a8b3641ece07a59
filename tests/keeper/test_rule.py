"""The rule cannot be walked around: whatever a keeper does, and in whatever order, zone or season."""

import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from pupawatch import settings as files
from pupawatch.errors import NotUnderstood, Refused
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.model.entries import Found, Moved
from pupawatch.model.settings import Place
from pupawatch.model.state import State
from pupawatch.model.times import Span

SOFT_HOURS = 24  # the monarch's, as shipped
LABELS = ("A1", "B2")
PLACES = ("Roof", "Line", "Jar")
HOURS = st.sampled_from((0, 1, 12, 19, 20, 22, 23, 24, 25, 30))


class Keeping(RuleBasedStateMachine):
    """A keeper with two labels and three places, at a clock that runs over a change of summer time."""

    @initialize(
        zone=st.sampled_from(("America/Chicago", "Europe/London", "Australia/Lord_Howe", "UTC")),
        start=st.sampled_from((datetime(2026, 3, 7, tzinfo=UTC), datetime(2026, 10, 31, tzinfo=UTC))),
    )
    def begin(self, zone: str, start: datetime) -> None:
        self.folder = tempfile.TemporaryDirectory()
        self.now = start + timedelta(days=5)
        shipped = files.load(Path(self.folder.name))
        places = [Place(name=name, surface="mesh") for name in PLACES]
        self.keeper = Keeper(
            Journal(Path(self.folder.name) / "j.db"),
            msgspec.structs.replace(shipped, places=places, zone=zone),
            lambda: self.now,
        )

    def attempt(self, act: object, *arguments: object, **named: object) -> bool:
        try:
            act(*arguments, **named)  # type: ignore[operator]
        except (NotUnderstood, Refused):
            return False
        return True

    def span(self, ago: int | None, width: int) -> Span | None:
        if ago is None:
            return None
        until = self.now - timedelta(hours=ago)
        return Span(until - timedelta(hours=width), until)

    @rule(hours=st.sampled_from((1, 4, 11, 19, 23)))
    def time_passes(self, hours: int) -> None:
        self.now += timedelta(hours=hours)

    @rule(
        label=st.sampled_from(LABELS),
        place=st.sampled_from(PLACES),
        ago=st.none() | HOURS,
        width=st.sampled_from((0, 0, 1, 12)),
        young=st.booleans(),
    )
    def find(self, label: str, place: str, ago: int | None, width: int, young: bool) -> None:
        self.attempt(self.keeper.pupae.found, label, place, when=self.span(ago, width), prepupa=young)

    @rule(
        label=st.sampled_from(LABELS),
        place=st.sampled_from(PLACES),
        ago=st.none() | HOURS,
        width=st.sampled_from((0, 0, 1, 12)),
    )
    def move(self, label: str, place: str, ago: int | None, width: int) -> None:
        self.attempt(self.keeper.moves.move, label, place, when=self.span(ago, width))

    @rule(label=st.sampled_from(LABELS), place=st.sampled_from(PLACES))
    def move_in_an_emergency(self, label: str, place: str) -> None:
        self.attempt(self.keeper.moves.move, label, place, emergency="predator")

    @rule(
        label=st.sampled_from(LABELS),
        stage=st.sampled_from(("set", "darkening", "clear", "empty")),
        ago=st.none() | HOURS,
    )
    def see(self, label: str, stage: str, ago: int | None) -> None:
        self.attempt(self.keeper.pupae.saw, label, stage, when=self.span(ago, 0))

    @rule(label=st.sampled_from(LABELS))
    def fall(self, label: str) -> None:
        self.attempt(self.keeper.pupae.fell, label)

    @rule(label=st.sampled_from(LABELS), place=st.sampled_from(PLACES), first=st.sampled_from((19, 23, 24)))
    def find_wait_and_move(self, label: str, place: str, first: int) -> None:
        self.attempt(self.keeper.pupae.found, label, "Roof")
        self.now += timedelta(hours=first)
        self.attempt(self.keeper.moves.move, label, place)

    @rule(label=st.sampled_from(LABELS))
    def emerge(self, label: str) -> None:
        self.attempt(self.keeper.pupae.emerged, label)

    @rule(label=st.sampled_from(LABELS))
    def lose(self, label: str) -> None:
        self.attempt(self.keeper.pupae.lost, label, "unknown")

    @rule()
    def look(self) -> None:
        self.attempt(self.keeper.places.looked)

    @rule()
    def undo(self) -> None:
        self.attempt(self.keeper.undo)

    @rule()
    def redo(self) -> None:
        self.attempt(self.keeper.redo)

    @precondition(lambda self: hasattr(self, "keeper"))
    @invariant()
    def no_live_move_came_under_the_set_period(self) -> None:
        entries = [entry for some in self.keeper.journal.read_all() for entry in some]
        retracted = State(entries).retracted
        live = [entry for entry in entries if entry.act not in retracted]
        for move in live:
            if isinstance(move, Moved) and not move.emergency:
                formed = max(e.happened for e in live if isinstance(e, Found) and e.pupa == move.pupa)
                moved = move.since or move.happened
                assert moved.timestamp() - formed.timestamp() >= SOFT_HOURS * 3600

    @precondition(lambda self: hasattr(self, "keeper"))
    @invariant()
    def what_is_remembered_is_what_the_journal_says(self) -> None:
        anew = Keeper(self.keeper.journal, self.keeper.settings, lambda: self.now)
        shown = [(p, p.flags) for p in self.keeper.state.open_pupae()]
        assert shown == [(p, p.flags) for p in anew.state.open_pupae()]
        assert shown == [(p, p.flags) for p in self.keeper.whole_state().open_pupae()]

    @precondition(lambda self: hasattr(self, "keeper"))
    @rule()
    def undo_then_redo_changes_nothing(self) -> None:
        before = self.keeper.whole_state().pupae
        if not self.attempt(self.keeper.undo):
            return
        self.keeper.redo()
        assert self.keeper.whole_state().pupae == before

    def teardown(self) -> None:
        if hasattr(self, "keeper"):
            self.keeper.journal.close()
            self.folder.cleanup()


TestKeeping = Keeping.TestCase
TestKeeping.settings = settings(
    max_examples=80, stateful_step_count=20, deadline=None, suppress_health_check=list(HealthCheck)
)


@given(
    zone=st.sampled_from(("America/Chicago", "Europe/London", "Australia/Lord_Howe", "UTC")),
    formed=st.datetimes(datetime(2026, 3, 1), datetime(2026, 11, 20), timezones=st.just(UTC)),
    width=st.integers(0, 48 * 60),
    minutes=st.one_of(st.integers(-300, 3000), st.sampled_from((1439, 1440, 1441))),
    later=st.integers(0, 600),
)
@settings(max_examples=60, deadline=None)
def test_a_move_is_refused_exactly_while_the_certain_hang_time_is_under_the_set_period(
    zone: str, formed: datetime, width: int, minutes: int, later: int
) -> None:
    """Backdated or not: what counts is the hang time at the time of the move."""
    with tempfile.TemporaryDirectory() as folder:
        moved = formed + timedelta(minutes=minutes)
        now = max(formed, moved) + timedelta(minutes=later)
        shipped = msgspec.structs.replace(files.load(Path(folder)), zone=zone)
        keeper = Keeper(Journal(Path(folder) / "j.db"), shipped, lambda: now)
        keeper.pupae.found("A1", "Roof", when=Span(formed - timedelta(minutes=width + 1), formed))
        if minutes < SOFT_HOURS * 60:
            with pytest.raises(Refused) as refused:
                keeper.moves.move("A1", "Line", when=Span(moved, moved))
            assert refused.value.movable_from == formed + timedelta(hours=SOFT_HOURS)
            assert keeper.pupa("A1").relocations == []
        else:
            keeper.moves.move("A1", "Line", when=Span(moved, moved))
            assert keeper.pupa("A1").place == "Line"
        keeper.journal.close()
