"""What cannot be so: a merge refuses it by entry and field, and what lies in a journal already stops nothing.

That no place at home is colder than −40 °C or hotter than 60 °C is common practice, no source.
"""

import asyncio
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import msgspec.structs
import pytest
from hypothesis import HealthCheck, Phase, example, given, settings
from hypothesis import strategies as st

from pupawatch import settings as files
from pupawatch.errors import NotUnderstood, Unusable
from pupawatch.journal import merge
from pupawatch.journal.file import Journal
from pupawatch.keeper import Keeper
from pupawatch.model import codes
from pupawatch.model import entries as kinds
from pupawatch.model.entries import Entry, kind_of
from pupawatch.model.fields import fitted
from pupawatch.model.ids import entry_id

NOW = datetime(2026, 9, 8, 11, 40, tzinfo=UTC)
HOUR = timedelta(hours=1)
Run = Callable[..., Any]

COMMANDS = (
    ["today"], ["pupae", "--all"], ["forecast"], ["forecast", "--score"], ["plan"], ["review"],
    ["review", "--by", "surface,temperature"], ["places"], ["watch"], ["adults"], ["health"], ["history", "A0"],
    ["history", "A1"], ["moves"], ["sheet"], ["check"], ["today", "--json"], ["history", "A2", "--json"],
)  # fmt: skip

PUPAE = [entry_id(NOW - timedelta(days=20, minutes=number), bytes([number] * 8)) for number in range(3)]


def stamp(number: int) -> str:
    return entry_id(NOW - timedelta(days=2, minutes=number), number.to_bytes(8, "big"))


def common(number: int, hours_ago: float) -> dict[str, Any]:
    at = NOW - hours_ago * HOUR
    return {"id": stamp(number), "act": stamp(number), "happened": at, "recorded": NOW, "zone": "UTC"}


SHELF: list[Entry] = [
    kinds.Found(**common(number, 20 + 100 * number), pupa=pupa, label=f"A{number}", species="monarch", place="Roof")
    for number, pupa in enumerate(PUPAE)
]
"""Three pupae, of which the others tell."""


@st.composite
def likely(draw: st.DrawFn) -> Entry:
    """An entry as a keeper may write it."""
    kind = draw(st.sampled_from(kinds.Kind.__args__))
    number = draw(st.integers(1000, 10**9))
    told = common(number, draw(st.floats(0, 500)))
    told["since"] = draw(st.sampled_from([None, told["happened"] - HOUR]))
    place, temperature = st.sampled_from(["Roof", "Jar", "Porch"]), st.none() | st.floats(-40, 60)
    words = {
        "pupa": st.sampled_from(PUPAE), "label": st.sampled_from(["A0", "A1", "B1"]), "place": place, "to": place,
        "species": st.sampled_from(["monarch", "painted-lady", "unheard-of"]), "stage": st.sampled_from(codes.STAGES),
        "reason": st.sampled_from(["fallen", "wet"]), "held": st.booleans(), "sign": st.just("spores"),
        "condition": st.sampled_from(["sound", "crumpled"]), "sex": st.sampled_from(codes.SEXES),
        "what": st.sampled_from(codes.ADULT_SIGHTINGS), "origin": st.sampled_from(kinds.ORIGINS),
        "brood": st.sampled_from(["Tray", "July eggs"]), "eggs": st.none() | st.integers(0, 900),
        "source": st.sampled_from(["", *codes.BROOD_SOURCES]),
        "code": st.sampled_from(["X1", "X2"]), "cause": st.just("unknown"), "text": st.just("a remark"),
        "day": st.sampled_from(["2026-09-01", "2026-09-02"]), "low_c": st.floats(-40, 10), "high_c": st.floats(10, 60),
        "sensor": st.just("home"), "places": st.lists(place, max_size=2), "how": st.just("gear"),
        "minutes": st.floats(1, 10080), "target": st.sampled_from([stamp(number) for number in range(3)]),
        "temperature_c": temperature, "usual_c": temperature, "surface": st.sampled_from(["", "mesh", "unheard-of"]),
        "sky": st.sampled_from(["", *codes.SKIES]), "load": st.none() | st.integers(0, 9), "history": st.booleans(),
    }  # fmt: skip
    optional = {"brood", "eggs", "source", "usual_c", "surface", "temperature_c", "sky", "load", "history"}
    for field in msgspec.structs.fields(kind):
        if field.name not in told and (field.required or field.name in optional):
            told[field.name] = draw(words[field.name])
    return kind(**told)


FAR = (
    datetime(1, 1, 1, tzinfo=UTC), datetime(1, 1, 1, 20, tzinfo=timezone(14 * HOUR)),
    datetime(1899, 12, 31, tzinfo=UTC), datetime(1900, 1, 2, tzinfo=UTC), datetime(1969, 1, 1, tzinfo=UTC),
    NOW + 100 * HOUR, datetime(2199, 12, 30, tzinfo=UTC), datetime(2200, 1, 1, tzinfo=UTC),
    datetime(9999, 12, 31, 23, 59, 59, tzinfo=UTC),
)  # fmt: skip
WORDS = st.sampled_from(
    ["", " ", "\u3164", "x" * 50, "x" * 5000, "\x1b[2J", "\u202eA", "\0", "soft", "Nowhere/Land", "2026-02-30",
     "20260901", "9999-12-31", "unknown"]
)  # fmt: skip
NUMBERS = st.sampled_from([1e308, -1e308, 1e6, -127.0, 60.1, -40.1, 0.0, 5e-324, -1.0])


@st.composite
def absurd(draw: st.DrawFn) -> Entry:
    """The same, with one or two of its fields as no keeper would write them."""
    entry = draw(likely())
    changes: dict[str, Any] = {}
    names = [one.name for one in fitted(type(entry)) if one.name not in ("id", "act", "pupa")]
    for name in draw(st.lists(st.sampled_from(names), min_size=1, max_size=2)):
        old = getattr(entry, name)
        if name in ("happened", "since", "recorded"):
            changes[name] = draw(st.sampled_from(FAR))
        elif isinstance(old, float) or name in ("usual_c", "temperature_c"):
            changes[name] = draw(NUMBERS)
        elif name in ("load", "spores", "eggs", "hatched", "caterpillars", "lost"):
            changes[name] = draw(st.sampled_from([-1, 10**15]))
        else:
            changes[name] = draw(st.lists(WORDS, max_size=2)) if isinstance(old, list) else draw(WORDS)
    changed = msgspec.structs.replace(entry, **changes)
    try:
        changed.happened.astimezone(UTC)  # what no column of a journal can say
    except OverflowError:
        return entry
    return changed


ANY = st.one_of(likely(), absurd(), absurd())


@contextmanager
def journals() -> Iterator[Callable[[Iterable[Entry]], Journal]]:
    """Makes journals with these entries in them, as another program may have written them."""
    with tempfile.TemporaryDirectory() as folder:
        made: list[Journal] = []

        def journal(entries: Iterable[Entry]) -> Journal:
            made.append(Journal(Path(folder) / f"{len(made)}.db"))
            with made[-1].writing(None) as append:
                append(entries)
            return made[-1]

        yield journal
        for one in made:
            one.close()


def misfits(entry: Entry) -> list[str]:
    return [misfit.field for misfit in entry.misfits()]


# -- the doors


@settings(max_examples=80, deadline=None)
@given(entry=ANY)
def test_a_merge_takes_in_what_fits_and_names_entry_and_field_of_what_does_not(entry: Entry) -> None:
    with journals() as journal:
        mine, theirs = journal(SHELF), journal([entry])
        with mine.writing(None):
            if not misfits(entry):
                assert merge.unite(mine, theirs).entries == 1
                return
            with pytest.raises(Unusable) as refused:
                merge.unite(mine, theirs)
        words = str(refused.value)
        assert f"In entry {entry.id} ({kind_of(entry)}) {misfits(entry)[0]} is " in words
        assert "nothing was merged" in words
        assert mine.last() == len(SHELF)


@settings(max_examples=200, deadline=None)
@given(entry=likely())
def test_what_a_keeper_can_write_fits(entry: Entry) -> None:
    assert misfits(entry) == []


@pytest.mark.parametrize(
    ("reading", "told"),
    [
        (("home", 1000, 1e6), "1e+06 °C"),
        (("home", 1000, -127.0), "-127 °C"),
        (("home", 1000, float("inf")), "inf °C"),
        (("home", 10**12, 20.0), "second 1000000000000"),
        (("ho\x1bme", 1000, 20.0), "“ho\ufffdme”"),
        (("", 1000, 20.0), "“”"),
        (("x" * 41, 1000, 20.0), "“x"),
    ],
)
def test_a_reading_that_no_logger_can_have_given_is_not_taken_in(reading: Any, told: str) -> None:
    with journals() as journal:
        mine, theirs = journal([]), journal([])
        with theirs.writing(None):
            theirs.add_readings([("home", 500, 21.0), reading])
        with pytest.raises(Unusable, match="nothing was merged") as refused, mine.writing(None):
            merge.unite(mine, theirs)
        assert told in str(refused.value)
        assert list(mine.every_reading()) == []


def test_what_is_typed_passes_the_same_ranges(keeper: Keeper) -> None:
    for minutes in (0, -5, 10081, float("nan"), float("inf")):
        with pytest.raises(NotUnderstood, match="it must be more than 0 and at most 10080 min"):
            keeper.places.cleaned("Roof", "gear", minutes)
    assert keeper.journal.last() == 0
    keeper.places.cleaned("Roof", "gear", 10080)


# -- a journal that holds it already


def read_everything(run: Run, path: Path) -> None:
    """Every command that reads, and the dashboard from its start until its forecasts stand."""
    from pupawatch.tui.app import Dashboard

    for words in COMMANDS:
        answer = run("--journal", path, *words)
        assert answer.code in (0, 2), (words, answer)  # 2: there is no pupa of that label
    with tempfile.TemporaryDirectory() as folder:
        keeper = Keeper(Journal(path), files.load(Path(folder)), lambda: NOW, Path(folder))

        async def opened() -> None:
            app = Dashboard(keeper)
            async with app.run_test(size=(100, 40)) as pilot:
                await pilot.pause()
                await app.workers.wait_for_complete()
                await pilot.press("j", "enter")

        asyncio.run(opened())
        keeper.journal.close()


FEW = settings(
    max_examples=3,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    phases=(Phase.explicit, Phase.reuse, Phase.generate),  # each example takes seconds: it is not made smaller
)
HOT = kinds.Measured(**common(99, 30), place="Roof", day="2026-09-05", low_c=-1e308, high_c=1e308)
WARM = kinds.Measured(**common(98, 30), place="Roof", day="2026-09-06", low_c=1e6, high_c=1e6)
NO_DAY = kinds.Measured(**common(97, 30), place="Roof", day="the 5th", low_c=10, high_c=20)


@FEW
@given(entries=st.lists(ANY, min_size=8, max_size=14, unique_by=lambda entry: entry.id))
@example(entries=[HOT, WARM, NO_DAY])
def test_nothing_that_lies_in_a_journal_stops_a_command_or_the_dashboard(run: Run, entries: list[Entry]) -> None:
    with journals() as journal:
        path = journal([*SHELF, *entries]).path
        read_everything(run, path)


@FEW
@given(entries=st.lists(ANY, min_size=8, max_size=14, unique_by=lambda entry: entry.id))
def test_nothing_that_a_merge_takes_in_stops_a_command_or_the_dashboard(run: Run, entries: list[Entry]) -> None:
    with journals() as journal:
        mine = journal(SHELF)
        for entry in entries:
            theirs = journal([entry])
            told = run("--journal", mine.path, "merge", theirs.path)
            assert told.code == (3 if misfits(entry) else 0), told
        read_everything(run, mine.path)


def test_temperatures_that_cannot_be_so_are_passed_over_and_named(run: Run, keeper: Keeper) -> None:
    run("found", "A1", "--place", "Roof")
    told = run("forecast", "A1").out
    with keeper.journal.writing(None) as append:
        append([HOT, WARM, NO_DAY, kinds.Tied(**common(96, 30), sensor="home", places=["Roof"])])
        keeper.journal.add_readings([("home", int((NOW - hour * HOUR).timestamp()), 1e6) for hour in range(40)])
    assert keeper.journal.readings("home", 0, 9e9) == ([], [])
    doubt = "The entry “Roof, 2026-09-06: 1e+06 to 1e+06 °C” is not possible; the forecast ignores it."
    answer = run("forecast", "A1").out
    assert doubt in answer
    assert answer.splitlines()[1:] == told.splitlines()
    assert "ignores it" in run("today").err
    check = run("check").out
    assert f"Entry {HOT.id} (measured): low_c is -1e+308; it must be between -40 and 60 °C." in check
    assert "40 readings that no place can reach; ignored." in check


def test_an_entry_of_a_year_that_cannot_be_reckoned_with_is_passed_over(keeper: Keeper) -> None:
    far = msgspec.structs.replace(SHELF[0], happened=datetime(9999, 12, 31, tzinfo=UTC))
    with keeper.journal.writing(None) as append:
        append([far, SHELF[1]])
    assert [entry for some in keeper.journal.read_all() for entry in some] == [SHELF[1]]
    assert [entry for entry, _ in keeper.journal.misfits()] == [far]
