"""The fold: the same state whatever the order, and no entry that could make it stumble."""

import random
from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from pupawatch.model import entries as kinds
from pupawatch.model.codes import STAGES
from pupawatch.model.entries import Entry
from pupawatch.model.fold import fold
from pupawatch.model.ids import entry_id
from pupawatch.model.state import State

START = datetime(2026, 8, 1, tzinfo=UTC)
IDS = st.integers(0, 3).map(lambda n: f"pupa-{n}")
PLACES = st.sampled_from(("Roof", "Line", "Jar"))
WORDS = st.sampled_from(("", "M1", "[red]x[/]", "\x1b[31m", "ü"))


def _moment(minutes: int) -> datetime:
    return START + timedelta(minutes=minutes)


@st.composite
def histories(draw: st.DrawFn) -> list[Entry]:
    """Any entries at all, contradictory ones included, and retractions of any of them."""
    made: list[Entry] = []
    for number in range(draw(st.integers(0, 14))):
        at = draw(st.integers(0, 40))
        stamp = entry_id(_moment(at), number.to_bytes(8, "big"))
        since = draw(st.none() | st.integers(0, 40).map(_moment))
        common = {
            "id": stamp, "act": draw(st.sampled_from([stamp, *(e.act for e in made[-2:])])), "happened": _moment(at),
            "since": since, "recorded": _moment(number), "zone": "UTC",
        }  # fmt: skip
        pupa = {"pupa": draw(IDS)}
        named = {**pupa, "label": draw(WORDS), "species": "monarch", "place": draw(PLACES)}
        kind, fields = draw(
            st.sampled_from(
                (
                    (kinds.Hanging, named),
                    (kinds.Found, named),
                    (kinds.Seen, {**pupa, "stage": draw(st.sampled_from(STAGES))}),
                    (kinds.Fell, {**pupa, "reason": "fallen"}),
                    (kinds.Moved, {**pupa, "to": draw(PLACES)}),
                    (kinds.Emerged, pupa),
                    (kinds.Wings, {**pupa, "condition": "sound"}),
                    (kinds.Marked, {**pupa, "code": "1"}),
                    (kinds.Released, pupa),
                    (kinds.Lost, {**pupa, "cause": "unknown"}),
                    (kinds.Note, {**pupa, "text": draw(WORDS)}),
                    (kinds.Looked, {"place": draw(PLACES)}),
                    (kinds.Retraction, {"target": draw(st.sampled_from([e.act for e in made] or ["none"]))}),
                )
            )
        )
        made.append(kind(**common, **fields))
    return made


def _seen(state: State) -> tuple[object, ...]:
    flags = {name: pupa.flags for name, pupa in state.pupae.items()}
    return state.pupae, flags, {place: looks for place, looks in state.looks.items() if looks}, state.retracted


@given(histories(), st.randoms(use_true_random=False), st.integers(1, 5))
def test_any_order_and_any_portions_of_the_same_entries_give_the_same_state(
    entries: list[Entry], chance: random.Random, portions: int
) -> None:
    shuffled = entries.copy()
    chance.shuffle(shuffled)
    piecewise = State()
    for start in range(portions):
        piecewise.add(shuffled[start::portions])
    assert _seen(piecewise) == _seen(State(entries))


@given(histories())
def test_entries_that_are_known_change_nothing(entries: list[Entry]) -> None:
    state = State(entries)
    before = _seen(State(entries))
    state.add(entries)
    assert _seen(state) == before


def _entry(kind: type[Entry], minute: int, act: str = "", **fields: object) -> Entry:
    stamp = entry_id(_moment(minute), minute.to_bytes(8, "big"))
    return kind(id=stamp, act=act or stamp, happened=_moment(minute), recorded=_moment(minute), zone="UTC", **fields)


FOUND = _entry(kinds.Found, 0, pupa="p", label="M1", species="monarch", place="Roof")


def test_what_was_taken_back_does_not_count() -> None:
    seen = _entry(kinds.Seen, 5, pupa="p", stage="clear")
    assert State([FOUND, seen, _entry(kinds.Retraction, 6, target=seen.act)]).pupae["p"].stage_seen == ""


def test_taking_back_a_retraction_makes_the_act_count_again() -> None:
    seen = _entry(kinds.Seen, 5, pupa="p", stage="clear")
    undo = _entry(kinds.Retraction, 6, target=seen.act)
    redo = _entry(kinds.Retraction, 7, target=undo.act)
    assert State([FOUND, seen, undo, redo]).pupae["p"] == State([FOUND, seen]).pupae["p"]


def test_retractions_in_a_circle_do_not_confuse_the_fold() -> None:
    one = _entry(kinds.Retraction, 6, act="one", target="two")
    two = _entry(kinds.Retraction, 7, act="two", target="one")
    assert State([one, two]).retracted == State([two, one]).retracted == {"one"}


def test_a_pupa_whose_every_entry_was_taken_back_is_gone() -> None:
    assert State([FOUND, _entry(kinds.Retraction, 6, target=FOUND.act)]).pupae == {}


def test_a_prepupa_seen_late_narrows_the_interval_in_which_the_pupa_formed() -> None:
    hanging = _entry(kinds.Hanging, 10, pupa="p", label="M1", species="monarch", place="Roof")
    found = _entry(kinds.Found, 30, since=_moment(2), pupa="p", label="M1", species="monarch", place="Roof")
    pupa = fold("p", [found, hanging])
    assert (pupa.formed_from, pupa.formed_to) == (_moment(10), _moment(30))


def _flags(*entries: Entry) -> list[str]:
    return fold("p", entries).flags


def test_contradictions_become_flags() -> None:
    emerged = _entry(kinds.Emerged, 20, since=_moment(10), pupa="p")
    assert _flags(FOUND, emerged, _entry(kinds.Moved, 25, pupa="p", to="Line")) == ["moved-after-emergence"]
    assert _flags(FOUND, _entry(kinds.Wings, 25, pupa="p", condition="sound")) == ["wings-without-emergence"]
    assert _flags(FOUND, _entry(kinds.Released, 5, pupa="p"), emerged) == ["released-before-emergence"]
    assert _flags(FOUND, _entry(kinds.Marked, 5, pupa="p", code="1"), emerged) == ["marked-before-emergence"]
    assert _flags(FOUND, emerged, _entry(kinds.Lost, 30, pupa="p", cause="unknown")) == ["emerged-and-lost"]
    assert _flags(FOUND, emerged, _entry(kinds.Emerged, 22, pupa="p")) == ["emerged-twice"]
    assert _flags(_entry(kinds.Seen, 5, pupa="p", stage="clear")) == ["never-found"]
    assert _flags(FOUND, _entry(kinds.Seen, 5, pupa="p", stage="empty")) == ["empty-not-emerged"]


def test_intervals_that_only_touch_are_no_contradiction() -> None:
    emerged = _entry(kinds.Emerged, 20, since=_moment(10), pupa="p")
    assert _flags(FOUND, _entry(kinds.Moved, 15, pupa="p", to="Line"), emerged) == []
    assert _flags(FOUND, emerged, _entry(kinds.Released, 21, pupa="p")) == []


# -- labels


def _named(pupa: str, label: str, minute: int = 0) -> Entry:
    return _entry(kinds.Found, minute, pupa=pupa, label=label, species="monarch", place="Roof")


def _meant(label: str, *entries: Entry) -> list[str]:
    return [pupa.id for pupa in State(entries).labelled(label)]


def test_a_label_means_all_that_hold_it() -> None:
    adult = [_named("a", "M1"), _entry(kinds.Emerged, 5, pupa="a")]
    assert _meant("M1", *adult, _named("b", "M1", 9)) == ["a", "b"]


def test_of_one_that_holds_it_and_those_that_are_gone_the_first_is_meant() -> None:
    lost = [_named("a", "M1", 8), _entry(kinds.Lost, 9, pupa="a", cause="unknown")]
    released = [_named("b", "M1", 5), _entry(kinds.Emerged, 6, pupa="b"), _entry(kinds.Released, 7, pupa="b")]
    dead = [_named("c", "M1", 2), _entry(kinds.Emerged, 3, pupa="c"), _entry(kinds.AdultSeen, 4, pupa="c", what="died")]
    assert _meant("M1", *lost, *released, *dead, _named("d", "M1")) == ["d"]


def test_where_none_holds_it_the_newest_is_meant() -> None:
    gone = [_named(p, "M1", at) for p, at in (("a", 1), ("b", 3))]
    gone += [_entry(kinds.Lost, at, pupa=p, cause="unknown") for p, at in (("a", 2), ("b", 4))]
    assert _meant("M1", *gone) == ["b"]


def test_the_same_case_of_letters_goes_before_another() -> None:
    both = [_named("a", "m1"), _named("b", "M1", 3)]
    assert _meant("M1", *both) == ["b"]
    assert _meant("m1", *both) == ["a"]
    assert _meant("m1", both[1]) == ["b"]


def _relabelled(pupa: str, label: str, minute: int) -> Entry:
    return _entry(kinds.Relabelled, minute, pupa=pupa, label=label)


def test_the_newest_relabelling_counts_whatever_a_later_finding_calls_it() -> None:
    hanging = _entry(kinds.Hanging, 1, pupa="p", label="M1", species="monarch", place="Roof")
    pupa = fold("p", [_relabelled("p", "M3", 4), _relabelled("p", "M2", 3), hanging, _named("p", "M1", 9)])
    assert pupa.label == "M3"
    assert set(pupa.labels) == {"M1", "M2", "M3"}


def test_a_relabelling_that_was_taken_back_leaves_the_label_before_it() -> None:
    new = _relabelled("p", "M2", 3)
    assert State([FOUND, new, _entry(kinds.Retraction, 4, target=new.act)]).pupae["p"].label == "M1"


def test_a_former_label_is_found_as_long_as_nobody_else_carries_it() -> None:
    renamed = [_named("a", "M1"), _relabelled("a", "M2", 3)]
    assert _meant("M2", *renamed) == ["a"]
    assert _meant("m1", *renamed) == ["a"]
    assert _meant("M1", *renamed, _named("b", "M1", 5)) == ["b"]
