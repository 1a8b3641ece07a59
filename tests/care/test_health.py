"""A second look: the signs asked at each stage, what they ask for together, and what is proposed to be set apart."""

from datetime import UTC, datetime, timedelta
from typing import get_args

import msgspec
import pytest

from pupawatch import settings as files
from pupawatch.care import health
from pupawatch.model import entries as kinds
from pupawatch.model.codes import CheckedStage
from pupawatch.model.settings import Place, Settings
from pupawatch.model.state import State
from pupawatch.words.health import conclusion, recipe

NOW = datetime(2026, 8, 14, 6, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def settings(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    places = [Place(name=name, surface="mesh") for name in ("Roof", "Jar", "Line", "Shelf")]
    return msgspec.structs.replace(files.load(tmp_path_factory.mktemp("none")), zone="UTC", places=places)


def found(pupa: str, place: str) -> kinds.Found:
    at = NOW - timedelta(days=5)
    stamp = {"id": f"f{pupa}", "act": f"f{pupa}", "happened": at, "recorded": at, "zone": "UTC"}
    return kinds.Found(**stamp, pupa=pupa, label=pupa, species="monarch", place=place)


def finding(pupa: str, sign: str, load: int | None = None) -> kinds.Finding:
    stamp = {"id": f"{pupa}{sign}", "act": f"{pupa}{sign}", "happened": NOW, "recorded": NOW, "zone": "UTC"}
    return kinds.Finding(**stamp, pupa=pupa, sign=sign, load=load)


def test_every_stage_has_signs_to_look_for_and_few_enough_for_one_window(settings: Settings) -> None:
    for stage in get_args(CheckedStage):
        assert 1 <= len(health.signs_at(stage, settings.health)) <= 9


def test_every_sign_says_what_it_often_means_and_what_to_do(settings: Settings) -> None:
    for name, sign in settings.health.signs.items():
        told = conclusion([name], settings.health)
        assert sign.means in told[0]
        assert sign.do in told[0]
        assert told[-1] == settings.health.disclaimer


def test_normal_darkening_asks_for_nothing_and_patches_ask_to_set_apart(settings: Settings) -> None:
    assert health.grade(["even-dark"], settings.health) == "normal"
    assert health.grade(["even-dark", "patches"], settings.health) == "set-apart"
    assert health.grade([health.NOTHING], settings.health) == "normal"
    assert health.grade(["smells of mint"], settings.health) == "look-again"
    assert conclusion([], settings.health) == ["Nothing unusual seen."]


def test_a_suspect_proposes_its_place_what_hangs_beside_it_and_the_places_next_to_it(settings: Settings) -> None:
    state = State([found("A", "Jar"), found("B", "Jar"), found("C", "Shelf"), finding("A", "soft-body")])
    told = health.proposal(state.pupae["A"], state, settings)
    assert told is not None
    assert (told.place, told.next_to) == ("Jar", ["Roof", "Line"])
    assert [pupa.label for pupa in told.beside] == ["B"]
    assert told.why == "A: soft body"
    assert health.proposal(state.pupae["B"], state, settings) is None


def test_the_ends_of_the_walk_and_places_nobody_described_have_fewer_neighbours(settings: Settings) -> None:
    state = State([found("A", "Roof"), finding("A", "threads"), found("B", "Attic"), finding("B", "threads")])
    first, unknown = (health.proposal(state.pupae[name], state, settings) for name in "AB")
    assert first is not None
    assert unknown is not None
    assert (first.next_to, unknown.next_to) == (["Jar"], [])


def test_what_asks_only_to_look_again_proposes_nothing(settings: Settings) -> None:
    for sign, load in (("specks", None), ("even-dark", None), ("spores", 0)):
        state = State([found("A", "Jar"), finding("A", sign, load)])
        assert health.proposal(state.pupae["A"], state, settings) is None


@pytest.mark.parametrize(("stood", "enough"), [(239, False), (240, True), (600, True)])
def test_a_cleaning_counts_when_the_mix_stood_long_enough(settings: Settings, stood: float, enough: bool) -> None:
    stamp = {"id": "c", "act": "c", "happened": NOW, "recorded": NOW, "zone": "UTC"}
    entry = kinds.Cleaned(**stamp, place="Jar", how="gear", minutes=stood)
    assert health.cleaned_enough(entry, settings.health) is enough


def test_a_recipe_tells_parts_and_time(settings: Settings) -> None:
    words = [recipe(settings.health.cleanings[name]) for name in ("gear", "plants")]
    assert words == [
        "20 parts household bleach, 80 parts water, at least 4 h",
        "10 parts household bleach, 90 parts water, at least 20 min",
    ]
