"""The first hours of an adult, its flight, the spore classes and the cleaning, against what is published of them."""

import pytest

from pupawatch import settings as files
from pupawatch.care import health
from pupawatch.model.adult_settings import Adult
from pupawatch.model.settings import Settings


@pytest.fixture(scope="module")
def settings(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    return files.load(tmp_path_factory.mktemp("no-settings"))


@pytest.fixture(scope="module")
def monarch(settings: Settings) -> Adult:
    return settings.species["monarch"].adult


def test_wings_are_full_by_the_time_a_gardener_saw_them_so(monarch: Adult) -> None:
    """A gardener's weblog (a February monarch, emerged 15:15): it hung 40 minutes until the wings were full and stiff-
    looking. That others need as little as 10 minutes is common practice, no source."""
    assert (monarch.full_minutes_low, monarch.full_minutes_high) == (10, 40)


def test_wings_harden_within_the_published_half_to_two_hours_and_a_margin(monarch: Adult) -> None:
    """reimangardens.com, how butterflies spread their wings: dry enough in 0.5-2 h. Up to 3 h: common practice."""
    assert monarch.hard_hours_low == 0.5
    assert 2 <= monarch.hard_hours_high <= 3


def test_nothing_is_handled_before_its_wings_are_hard_nor_held_back_longer_than_a_laboratory_would(
    settings: Settings,
) -> None:
    """University of Georgia, monarch parasite laboratory, rearing without the parasite: adults are taken out as soon as
    their wings are hard, at the latest 8 h after emergence. Strong after 3-6 h: common practice, no source."""
    for profile in settings.species.values():
        adult = profile.adult
        assert adult.hard_hours_high <= adult.handle_after_hours <= 8
        assert 3 <= adult.handle_after_hours <= 6


def test_one_of_the_morning_may_be_marked_in_the_same_afternoon(monarch: Adult, settings: Settings) -> None:
    """A breeder's instruction page on hanging pupae (monarchbutterflies.ca): marking, sexing and release after about a
    day, or in the same afternoon where it emerged in the morning. A morning's emergence: 6 to 9 o'clock, common
    practice; the afternoon: 12 to 18 o'clock."""
    assert all(12 <= hour + monarch.mark_after_hours < 18 for hour in (6, 9))
    assert settings.species["monarch"].release_after_hours == 24


def test_the_flight_temperatures_lie_where_the_flight_muscles_begin_to_work(monarch: Adult) -> None:
    """Masters, Malcolm & Brower 1988, Ecology 69:458-467 (its abstract): the thorax must reach 12.7-16.0 °C."""
    assert 12.7 <= monarch.flight_sun_c <= monarch.flight_cloud_c <= 16.0


def test_under_cloud_the_limit_is_not_below_the_outreach_rule(monarch: Adult) -> None:
    """learner.org, "Too cold to fly": about 15.5 °C (60 °F) under cloud, 10 °C (50 °F) in sun. A breeder's page:
    below 14 °C many cannot fly; so the limit in sun is a warning and refuses nothing."""
    assert monarch.flight_cloud_c >= 15.5
    assert monarch.flight_sun_c >= 10


# Altizer, Oberhauser & Brower 2000, Ecol. Entomol. 25:125-139 (from memory): the classes that older versions recorded.
@pytest.mark.parametrize(
    ("spores", "load"),
    [(0, 0), (1, 1), (2, 2), (20, 2), (21, 3), (100, 3), (101, 4), (1000, 4), (1001, 5), (974_000, 5)],
)
def test_an_older_class_stands_for_the_published_counts(settings: Settings, spores: int, load: int) -> None:
    low, high = settings.health.older_classes[load]
    assert low <= spores
    assert high is None or spores <= high
    assert health.class_of(spores, settings.health) == load


@pytest.mark.parametrize(("spores", "words"), [(0, "none seen"), (9, "single ones"), (10, "tens"), (999, "hundreds")])
def test_a_count_has_a_name_of_our_own(settings: Settings, spores: int, words: str) -> None:
    """Common practice, no source: tens, as counts go."""
    assert health.band(spores, settings.health).words == words


# University of Georgia, monarch parasite laboratory, rearing without the parasite; a partnership's answer on bleaching
# milkweed and eggs. (percent by volume of household bleach, minutes)
@pytest.mark.parametrize(("what", "percent", "minutes"), [("gear", 20, 240), ("plants", 10, 20), ("eggs", 2, 2)])
def test_the_mixes_and_their_times_are_the_published_ones(
    settings: Settings, what: str, percent: int, minutes: int
) -> None:
    cleaning = settings.health.cleanings[what]
    assert (cleaning.bleach_percent, cleaning.contact_minutes) == (percent, minutes)


def test_bleach_never_stands_without_its_cautions(settings: Settings) -> None:
    """Never with acid or ammonia, air, goggles, gloves, fresh each day: common practice, no source."""
    told = " ".join(settings.health.cautions).lower()
    assert all(word in told for word in ("acid", "ammonia", "air", "goggles", "gloves", "fresh"))


def test_the_sexes_of_the_monarch_are_told_by_the_scent_spot_and_the_veins(settings: Settings) -> None:
    """Field texts on telling the sexes (weblogs of 15 August 2014 and 25 October 2023): the male has a dark spot on a
    vein of each hindwing and thinner veins."""
    told = settings.species["monarch"].adult.sexes
    assert "spot" in told["male"]
    assert "thin" in told["male"]
    assert "no scent spot" in told["female"]


def test_normal_darkening_is_even_and_the_parasite_is_patchy(settings: Settings) -> None:
    """Even, left and right alike, pattern first; against patches unlike left and right two or three days before: a
    breeder's page on the parasite and pupae (butterfly-fun-facts.com)."""
    signs = settings.health.signs
    assert (signs["even-dark"].grade, signs["patches"].grade) == ("normal", "set-apart")
    assert "alike" in signs["even-dark"].words
    assert "not alike" in signs["patches"].words
