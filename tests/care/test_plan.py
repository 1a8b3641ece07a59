"""The plan of a morning keeps every rule on any shelf, comes to rest once it is carried out, and says why.

The move rule's hours, the limit of moves and what a keeper would accept as a reason: common practice, no source.
"""

import random
from collections import Counter
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import settings as rounds_of
from hypothesis import strategies as st

from pupawatch import settings as files
from pupawatch.care import spots
from pupawatch.care.picture import Known, Picture, moves_made
from pupawatch.care.plan import Step
from pupawatch.care.proposals import decided
from pupawatch.care.risk import Record
from pupawatch.care.round import Plan, Proposal, Round, walk
from pupawatch.demo import MORNING, demo_keeper
from pupawatch.keeper.advice import Advice
from pupawatch.model import entries as kinds
from pupawatch.model.codes import LEFT, PROPOSED
from pupawatch.model.settings import Place, Settings
from pupawatch.model.state import State
from pupawatch.model.times import start_of_round_day
from pupawatch.words.moves import figures

NOW = datetime(2026, 9, 8, 12, tzinfo=UTC)
SHIPPED = msgspec.structs.replace(files.load(Path("no-such-folder")), zone="UTC")
NUMBERS = count()


class Shelf:
    """Pupae in their places, and what is done with them."""

    def __init__(self, *places: Place, records: dict[str, Record] | None = None, limit: int = 8) -> None:
        rules = msgspec.structs.replace(SHIPPED.care.risk, moves_per_morning=limit)
        care = msgspec.structs.replace(SHIPPED.care, risk=rules)
        self.settings: Settings = msgspec.structs.replace(SHIPPED, places=list(places), care=care)
        self.records = records or {}
        self.state = State()

    def tell(self, kind: Any, pupa: str, hours_ago: float = 0.0, **fields: object) -> None:
        name, at = f"{next(NUMBERS):09}", NOW - timedelta(hours=hours_ago)
        self.state.add([kind(id=name, act=name, happened=at, recorded=at, zone="UTC", pupa=pupa, **fields)])

    def hang(self, label: str, place: str, hours: float = 100.0, stage: str = "", species: str = "monarch") -> None:
        self.tell(kinds.Found, label, hours, label=label, species=species, place=place)
        if stage:
            self.tell(kinds.Seen, label, 0.5, stage=stage)

    def round(self) -> Round:
        return decided(walk(self.state, NOW, self.settings, Known(records=self.records)))

    def plan(self) -> Plan:
        told = self.round().plan
        assert told is not None
        return told

    def carry_out(self, told: Plan) -> None:
        """Do all that is proposed, as the keeper would write it down."""
        for one in told.proposals:
            pupa = one.standing.pupa
            if one.kind == "climb":
                self.tell(kinds.Climb, pupa.id)
            elif one.place:
                self.tell(kinds.Moved, pupa.id, to=one.place, method=one.method, emergency=pupa.danger)

    def plan_among_all(self) -> Plan:
        """The plan where every place worth a move is weighed, however many may move."""
        of = Picture.of

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(Picture, "of", lambda *told: of(*told)._replace(movers=10**9))
            return self.plan()


def told_of(told: Plan) -> dict[str, Proposal]:
    return {one.standing.pupa.label: one for one in (*told.proposals, *told.left)}


ROOF = Place(name="Roof", surface="mesh", capacity=4, clearance_cm=30)
CHAMBER = Place(name="Chamber", surface="chamber", capacity=4, clearance_cm=30)
JAR = Place(name="Jar", surface="glass", capacity=9, clearance_cm=30)


@st.composite
def shelves(draw: st.DrawFn) -> Shelf:
    places = [
        Place(
            name=f"P{number}",
            surface=draw(st.sampled_from(["mesh", "chamber", "glass", "leaf", "stem"])),
            capacity=draw(st.sampled_from([None, 1, 2, 4])),
            length_cm=draw(st.sampled_from([None, None, 20.0])),
            clearance_cm=draw(st.sampled_from([None, 4.0, 8.0, 9.5, 30.0])),
            temperature_c=draw(st.sampled_from([None, None, 15.0, 22.0])),
            disturbed=draw(st.sampled_from(["", "", "", "ants"])),
            drip=draw(st.integers(0, 9)) == 0,
            quarantined=draw(st.integers(0, 6)) == 0,
            retired=draw(st.integers(0, 9)) == 0,
        )
        for number in range(draw(st.integers(1, 6)))
    ]
    names = [place.name for place in places]
    sizes = [draw(st.integers(0, 40)) for _ in names]
    records = {name: Record(draw(st.integers(0, n)), n) for name, n in zip(names, sizes, strict=True)}
    shelf = Shelf(*places, records=records, limit=draw(st.sampled_from([0, 1, 2, 4, 20])))
    for number in range(draw(st.integers(0, 12))):
        label = f"M{number}"
        hours = draw(st.sampled_from([3.0, 23.0, 25.0, 40.0, 60.0, 80.0, 300.0]))
        shelf.hang(
            label,
            draw(st.sampled_from(names)),
            hours,
            draw(st.sampled_from(["", "", "", "darkening", "clear", "empty"])),
            draw(st.sampled_from(["monarch", "monarch", "painted-lady", "black-swallowtail"])),
        )
        if draw(st.integers(0, 5)) == 0:
            shelf.tell(kinds.Fell, label, 0.1, reason=draw(st.sampled_from(["fallen", "support-failing"])))
    return shelf


def contested(seed: int) -> Shelf:
    """A shelf where many want the same few good places, and fewer may move than would."""
    chance = random.Random(seed)
    good = [
        Place(name=f"Spot {n}", surface=chance.choice(["mesh", "wood", "chamber"]), capacity=chance.choice([1, 1, 2]))
        for n in range(14)
    ]
    records = {place.name: Record(chance.randint(0, n), n) for place in good if (n := chance.randint(0, 30))}
    records["Roof"] = Record(chance.randint(0, 30), 30)
    shelf = Shelf(JAR, ROOF, *good, records=records, limit=chance.randint(0, 5))
    for number in range(9):
        species = chance.choice(["monarch", "painted-lady"])
        shelf.hang(f"M{number}", chance.choice(["Jar", "Roof"]), chance.choice([25.0, 40.0, 80.0]), species=species)
        if chance.random() < 0.2:
            shelf.tell(kinds.Fell, f"M{number}", 0.1, reason="fallen")
    return shelf


@pytest.mark.parametrize("seed", range(60))
def test_the_places_that_are_left_out_could_not_better_the_plan(seed: int) -> None:
    shelf = contested(seed)
    few, all_of_them = shelf.plan(), shelf.plan_among_all()
    assert few.risk_planned == pytest.approx(all_of_them.risk_planned, abs=1e-9)
    moves = [sum(one.kind == "move" for one in told.proposals) for told in (few, all_of_them)]
    assert moves[0] == moves[1]


def test_only_as_many_places_are_weighed_as_may_be_filled() -> None:
    spots_there = [Place(name=f"Spot {n}", surface="mesh", capacity=1 + n % 2) for n in range(300)]
    shelf = Shelf(JAR, *spots_there, limit=3)
    for number in range(8):
        shelf.hang(f"M{number}", "Jar")
    shelf.tell(kinds.Fell, "M0", 0.1, reason="fallen")
    told = shelf.plan()
    # Eight pupae: the places after those that hold them all can stay unweighed.
    weighed = [len(one.standing.choice.candidate.goals) for one in (*told.proposals, *told.left)]
    assert weighed == [6] * 8
    assert (len(told.proposals), told.risk_planned) == (4, pytest.approx(shelf.plan_among_all().risk_planned))
    said = "worth moving, but the limit is 3 moves a morning and others gain more this morning: "
    assert [one.why for one in told.left if not one.why.startswith(said)] == []


@rounds_of(max_examples=150, deadline=None)
@given(shelves())
def test_no_proposal_breaks_the_move_rule_room_quarantine_or_clearance(shelf: Shelf) -> None:
    before = shelf.state.living_by_place()
    told = shelf.plan()
    for one in told.proposals:
        standing, settings = one.standing, shelf.settings
        profile = settings.profile(standing.pupa.species)
        if one.kind == "climb":
            assert standing.choice.no_climb
            continue
        assert standing.verdict.kind not in ("wait", "none")
        assert standing.verdict.kind != "leave"
        if standing.verdict.kind in ("care", "soon"):
            assert standing.unsafe
        if one.place and one.place != standing.pupa.place:
            assert spots.shortfalls(settings.place(one.place), profile, settings) == []
            assert not settings.place(one.place).quarantined
            assert not settings.place(one.place).retired
            assert not settings.place(standing.pupa.place).quarantined
        assert one.moved <= one.stays
    counted = [one for one in told.proposals if one.kind == "move"]
    assert len(counted) <= shelf.settings.care.risk.moves_per_morning
    shelf.carry_out(told)
    for name, living in shelf.state.living_by_place().items():
        most = spots.capacity(shelf.settings.place(name), shelf.settings)
        assert most is None or living <= max(most, before[name])


@rounds_of(max_examples=150, deadline=None)
@given(shelves())
def test_a_plan_that_was_carried_out_proposes_nothing_more(shelf: Shelf) -> None:
    first = shelf.plan()
    shelf.carry_out(first)
    again = shelf.plan()
    # What lies fallen and has nowhere to go stays to be rescued until the keeper finds it a place.
    assert [one for one in again.proposals if one.kind != "rescue" or one.place] == []


@rounds_of(max_examples=100, deadline=None)
@given(shelves())
def test_the_round_and_the_plan_agree_on_what_should_move_at_all(shelf: Shelf) -> None:
    told = told_of(shelf.plan())
    for standing in shelf.round().standings:
        one = told[standing.pupa.label]
        goal = standing.suggestion.place if standing.suggestion else ""
        assert goal == ("" if one.is_left else one.place)
        if one.kind == "climb":
            assert standing.choice.no_climb


@rounds_of(max_examples=60, deadline=None)
@given(shelves())
def test_every_pupa_is_told_once_with_a_kind_a_reason_and_figures(shelf: Shelf) -> None:
    morning = shelf.round()
    told = shelf.plan()
    assert Counter(one.standing.pupa.id for one in (*told.proposals, *told.left)) == Counter(list(shelf.state.pupae))
    for one in (*told.proposals, *told.left):
        assert one.kind in (*PROPOSED, *LEFT)
        assert one.why
        assert figures(one, morning.picture)[0].startswith("If it stays")
    assert told.risk_planned <= told.risk_now + 1e-9


def test_a_clear_pupa_where_it_can_climb_is_never_proposed() -> None:
    shelf = Shelf(msgspec.structs.replace(ROOF, clearance_cm=2), CHAMBER, records={"Roof": Record(20, 20)})
    shelf.hang("M1", "Roof", stage="clear")
    assert told_of(shelf.plan())["M1"].kind == "clear"


def test_a_clear_pupa_on_glass_gets_a_climb_and_is_left_alone_with_it() -> None:
    shelf = Shelf(JAR, CHAMBER)
    shelf.hang("M1", "Jar", stage="clear")
    told = shelf.plan()
    assert [(one.kind, one.place) for one in told.proposals] == [("climb", "")]
    shelf.carry_out(told)
    assert told_of(shelf.plan())["M1"].kind == "clear"


def test_the_morning_has_a_limit_and_what_was_moved_counts() -> None:
    shelf = Shelf(JAR, msgspec.structs.replace(CHAMBER, capacity=9), limit=2)
    for number in range(5):
        shelf.hang(f"M{number}", "Jar")
    told = shelf.plan()
    assert [one.kind for one in told.proposals] == ["move", "move"]
    later = [one for one in told.left if one.kind == "later"]
    assert len(later) == 3
    assert "tomorrow" in later[0].why
    shelf.carry_out(told)
    assert moves_made(shelf.state, start_of_round_day(NOW, "UTC", 3)) == 2
    assert shelf.plan().moves_left == 0
    assert shelf.plan().proposals == []


def test_rescues_come_on_top_of_the_limit() -> None:
    shelf = Shelf(JAR, CHAMBER, limit=0)
    shelf.hang("M1", "Jar")
    shelf.tell(kinds.Fell, "M1", reason="fallen")
    assert [(one.kind, one.place, one.method) for one in shelf.plan().proposals] == [("rescue", "Chamber", "prop")]


def test_what_darkens_in_a_poor_place_has_no_other_morning_and_comes_first() -> None:
    shelf = Shelf(JAR, CHAMBER, limit=1)
    shelf.hang("M1", "Jar")
    shelf.hang("M2", "Jar", stage="darkening")
    assert [one.standing.pupa.label for one in shelf.plan().proposals] == ["M2"]


def test_where_every_better_place_is_full_the_reason_says_so() -> None:
    bad = {"Roof": Record(30, 40), "Chamber": Record(1, 40)}
    shelf = Shelf(ROOF, msgspec.structs.replace(CHAMBER, capacity=1), records=bad)
    shelf.hang("M1", "Roof")
    shelf.hang("M2", "Roof")
    told = told_of(shelf.plan())
    assert Counter(one.kind for one in told.values()) == Counter(move=1, later=1)
    assert "full" in next(one.why for one in told.values() if one.kind == "later")


def test_a_place_left_today_takes_nobody_before_tomorrow() -> None:
    shelf = Shelf(JAR, msgspec.structs.replace(ROOF, capacity=1), msgspec.structs.replace(CHAMBER, capacity=1))
    shelf.hang("M1", "Roof")
    shelf.tell(kinds.Moved, "M1", 1, to="Chamber")
    shelf.hang("M2", "Jar")
    assert shelf.plan().tomorrow[0].later == Step("Roof", 1)


def test_a_good_place_with_a_bad_record_is_left_for_a_better_one() -> None:
    shelf = Shelf(ROOF, CHAMBER, records={"Roof": Record(20, 40), "Chamber": Record(1, 40)})
    shelf.hang("M1", "Roof")
    (one,) = shelf.plan().proposals
    assert (one.kind, one.place) == ("move", "Chamber")
    assert "20 of 40" in one.why


def test_a_small_gain_is_not_worth_the_handling() -> None:
    shelf = Shelf(ROOF, CHAMBER, records={"Roof": Record(4, 40), "Chamber": Record(1, 40)})
    shelf.hang("M1", "Roof")
    assert told_of(shelf.plan())["M1"].kind == "peace"


def test_one_that_fell_in_a_good_place_is_hung_up_again_there() -> None:
    shelf = Shelf(ROOF)
    shelf.hang("M1", "Roof")
    shelf.tell(kinds.Fell, "M1", reason="fallen")
    told = shelf.plan()
    assert [(one.kind, one.place) for one in told.proposals] == [("rescue", "Roof")]
    shelf.carry_out(told)
    assert shelf.plan().proposals == []


def test_a_rescued_pupa_is_asked_after_until_it_is_seen_to_hold() -> None:
    shelf = Shelf(ROOF, JAR)
    shelf.hang("M1", "Jar")
    shelf.tell(kinds.Fell, "M1", 2, reason="fallen")
    shelf.carry_out(shelf.plan())
    (standing,) = walk(shelf.state, NOW, shelf.settings).standings
    assert standing.look_again
    assert standing.needs_something
    shelf.tell(kinds.Held, "M1", held=True)
    (standing,) = walk(shelf.state, NOW, shelf.settings).standings
    assert not standing.look_again
    shelf.tell(kinds.Held, "M1", held=False)
    (standing,) = walk(shelf.state, NOW, shelf.settings).standings
    assert standing.verdict.kind == "rescue"


def test_between_equals_the_first_of_the_walk_is_taken() -> None:
    shelf = Shelf(JAR, *(msgspec.structs.replace(ROOF, name=name) for name in ("Zebra", "Apple", "Mango")))
    shelf.hang("M1", "Jar")
    assert shelf.plan().proposals[0].place == "Zebra"


def test_a_warm_pupa_is_not_proposed_into_the_cold() -> None:
    shelf = Shelf(JAR, Place(name="Porch", surface="chamber", temperature_c=15))
    shelf.hang("M1", "Jar")
    assert [one.kind for one in shelf.plan().proposals] == ["climb"]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Proposal]:
    keeper = demo_keeper(tmp_path_factory.mktemp("demo"))
    told = Advice(keeper, keeper.moves).morning(MORNING).plan
    assert told is not None
    return told_of(told)


def test_the_demo_shows_every_kind_of_proposal_and_every_kind_of_leaving_in_peace(demo: dict[str, Proposal]) -> None:
    assert {one.kind for one in demo.values()} == {*PROPOSED, *LEFT}


@pytest.mark.parametrize(
    ("label", "kind", "words"),
    [
        ("M23", "rescue", ("fallen", "Jar with lid")),
        ("M41", "rescue", ("fallen", "can be climbed")),
        ("M10", "climb", ("clear", "glass", "bring a climbing aid")),
        ("L3", "move", ("smooth plastic", "can be climbed and has room")),  # darkening: the same day
        ("M17", "move", ("smooth plastic",)),  # firm
        ("M36", "later", ("once it is firm", "in 2 days", "Emergence chamber")),  # not firm, and has a week
        ("M40", "soft", ("soft until 24 h",)),
        ("M9", "clear", ("can climb", "hands off")),
        ("M14", "dark", ("can climb", "tomorrow")),
        ("M2", "dark", ("longer than usual", "disease")),
        ("M35", "firming", ("hangs safely", "not firm")),
        ("M33", "apart", ("quarantine",)),
        ("M22", "move", ("only 6 cm clear", "Emergence chamber")),
        ("M15", "peace", ("hangs safely", "gain nothing")),
        ("M8", "empty", ("find the butterfly",)),
    ],
)
def test_each_of_them_has_a_reason_a_keeper_would_accept(
    demo: dict[str, Proposal], label: str, kind: str, words: tuple[str, ...]
) -> None:
    assert demo[label].kind == kind
    assert [word for word in words if word not in demo[label].why] == []
