"""Comparison without self-deception: small groups, corrected questions, and the confounding of moves."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from random import Random

import pytest

from pupawatch.errors import NotUnderstood
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings
from pupawatch.review.compare import contests, family, prior_for, ranking
from pupawatch.review.factors import Season
from pupawatch.review.outcomes import Counts, Rate
from pupawatch.review.page import page
from pupawatch.words import review as words
from pupawatch.words.review import CONFOUNDED, Sentence, sentences

MakePupa = Callable[..., Pupa]
NOW = datetime(2026, 9, 1, tzinfo=UTC)


def group(make: MakePupa, sound: int, bad: int, **fields: object) -> list[Pupa]:
    """So many sound and crumpled ones, each of a brood of its own."""
    return own_broods(
        [make(wings="sound", **fields) for _ in range(sound)] + [make(wings="crumpled", **fields) for _ in range(bad)]
    )


def own_broods(pupae: list[Pupa]) -> list[Pupa]:
    for pupa in pupae:
        pupa.brood = pupa.label
    return pupae


def said(pupae: list[Pupa], settings: Settings, by: str) -> list[Sentence]:
    season = Season(pupae, settings)
    return sentences(season, by, family(season, by))


def test_one_of_one_never_leads(settings: Settings, make: MakePupa) -> None:
    season = Season(group(make, 1, 0, site="Jar") + group(make, 17, 3, site="Roof"), settings)
    ranked = ranking(season.counts("site"), settings.care.review)
    assert [standing.group for standing in ranked.standings] == ["Roof"]
    assert ranked.too_few == {"Jar": Rate(1, 1)}


def test_a_small_perfect_group_does_not_lead_a_large_good_one(settings: Settings) -> None:
    few, many = Counts(0, 5, 0, 0, {}), Counts(0, 99, 1, 0, {})
    ranked = ranking({"few": few, "many": many}, settings.care.review)
    assert [standing.group for standing in ranked.standings] == ["many", "few"]


def test_no_estimate_lies_above_every_group(settings: Settings) -> None:
    prior = prior_for([Rate(12, 20), Rate(15, 20), Rate(13, 20)], settings.care.review)
    assert all(prior.shrunken(rate) < 15 / 20 for rate in (Rate(12, 20), Rate(15, 20), Rate(13, 20)))


def test_four_large_groups_do_not_teach_the_prior_and_five_do(settings: Settings) -> None:
    four = [Rate(8, 10), Rate(9, 10), Rate(5, 10), Rate(10, 10)]
    assert not prior_for([*four, Rate(1, 1)], settings.care.review).fitted
    fitted = prior_for([*four, Rate(5, 5)], settings.care.review)
    assert fitted.fitted
    assert fitted.mean == pytest.approx(37.5 / 46)  # half a pupa added on either side of 37 of 45


def test_a_plain_difference_between_sites_is_claimed_with_its_numbers(settings: Settings, make: MakePupa) -> None:
    told = said(group(make, 40, 1, site="Roof") + group(make, 12, 18, site="Jar"), settings, "site")
    claim = next(sentence for sentence in told if sentence.about == "site")
    assert claim.claims
    assert claim.words.startswith("Jar did worse than Roof: 12 of 30 sound against 40 of 41 (−58 points, 95 % interval")
    assert "over all 2 questions" in claim.words  # sites, and the week; nothing was moved


def test_ten_of_ten_against_eight_of_ten_proves_nothing(settings: Settings, make: MakePupa) -> None:
    told = said(group(make, 10, 0, site="Roof") + group(make, 8, 2, site="Jar"), settings, "site")
    assert not any(sentence.claims for sentence in told)
    assert any("By site no clear difference" in sentence.words for sentence in told)
    assert any("would usually be missed" in sentence.words for sentence in told)


def test_too_few_known_outcomes_give_no_sentence(settings: Settings, make: MakePupa) -> None:
    assert said([*group(make, 3, 1, site="Roof"), make(emerged=True), make()], settings, "site") == []


def test_moves_are_compared_only_among_pupae_of_the_same_surface(settings: Settings, make: MakePupa) -> None:
    # Moved ones all come from the jar, unmoved ones all from the roof: nothing alike can be compared.
    pupae = group(make, 5, 15, site="Jar", moved_after=50) + group(make, 20, 0, site="Roof")
    assert contests(Season(pupae, settings), "moved") == []


def test_emergencies_do_not_count_against_moving(settings: Settings, make: MakePupa) -> None:
    pupae = group(make, 0, 20, site="Roof", moved_after=2, emergency="fallen")
    pupae += group(make, 18, 2, site="Roof", moved_after=50) + group(make, 18, 2, site="Roof")
    (contest,) = contests(Season(pupae, settings), "moved")
    assert (contest.rate, contest.other_rate) == (Rate(18, 20), Rate(18, 20))


def test_a_claim_about_moving_says_that_it_is_confounded(settings: Settings, make: MakePupa) -> None:
    pupae = group(make, 10, 20, site="Roof", moved_after=50) + group(make, 30, 0, site="Roof")
    claim = next(sentence for sentence in said(pupae, settings, "moved") if sentence.about == "moved")
    assert claim.claims
    assert claim.words.endswith(CONFOUNDED)


def test_every_page_about_moves_carries_the_warning(settings: Settings, make: MakePupa) -> None:
    pupae = group(make, 3, 1, moved_after=50)
    factors = ("moved", "method", "hang", "emergency", "site")
    warned = {by for by in factors if words.said(page(pupae, settings, NOW, by)).warning}
    assert warned == {"moved", "method", "hang", "emergency"}


def test_early_moves_that_went_with_deformed_wings_are_told(settings: Settings, make: MakePupa) -> None:
    pupae = [make(wings="crumpled", moved_after=24 + i) for i in range(8)]
    pupae += [make(wings="sound", moved_after=60 + i) for i in range(20)]
    own_broods(pupae)
    claim = next(sentence for sentence in said(pupae, settings, "site") if sentence.about == "hang")
    assert claim.claims
    assert claim.words.startswith(
        "Earlier moves went with deformed wings: the 8 with deformed wings had hung at least 28 h"
    )


def test_a_season_that_got_worse_is_told(settings: Settings, make: MakePupa) -> None:
    start = datetime(2026, 7, 1, 6, tzinfo=UTC)
    pupae = [make(wings="sound", formed=start + timedelta(days=i)) for i in range(20)]
    pupae += [make(lost="disease", formed=start + timedelta(days=20 + i)) for i in range(8)]
    own_broods(pupae)
    claim = next(sentence for sentence in said(pupae, settings, "site") if sentence.about == "week")
    assert claim.words.startswith("Pupae that pupated later did worse: median day 24 of the 8")


def test_unknown_factors_and_groups_are_refused_with_a_hint(settings: Settings, make: MakePupa) -> None:
    season = Season([make()], settings)
    with pytest.raises(NotUnderstood, match="did you mean surface"):
        season.counts("surfaec")
    with pytest.raises(NotUnderstood, match="no group “Rof”; did you mean Roof"):
        season.only({"site": "Rof"})
    with pytest.raises(NotUnderstood, match="too much at once"):
        season.counts("site,moved,sex")


# -- families, time, and like with like


def test_single_families_are_called_so_and_nothing_is_claimed(settings: Settings, make: MakePupa) -> None:
    for brood in ("", "recorded"):
        pupae = [make(wings="sound", site="Roof") for _ in range(20)]
        pupae += [make(wings="crumpled", site="Jar") for _ in range(20)]
        for pupa in pupae:
            pupa.brood = brood and f"{brood} {pupa.site}"
        told = said(pupae, settings, "site")
        assert not any(sentence.claims for sentence in told)
        assert any("These may be single families: 1 family against 1" in sentence.words for sentence in told)


def test_a_site_in_use_all_summer_is_more_than_one_family(settings: Settings, make: MakePupa) -> None:
    start = datetime(2026, 6, 1, 6, tzinfo=UTC)
    pupae = []
    for day in range(60):
        formed = start + timedelta(days=day)
        pupae += [make(wings="sound", site="Roof", formed=formed), make(wings="sound", site="Jar", formed=formed)]
        pupae.append(make(wings="crumpled", site="Jar", formed=formed))
    claim = next(sentence for sentence in said(pupae, settings, "site") if sentence.about == "site")
    assert claim.claims
    assert "9 families against 9" in claim.words


def test_only_what_had_time_to_end_counts_and_the_first_sentence_says_what_does_not(
    settings: Settings, make: MakePupa
) -> None:
    old = group(make, 18, 2, site="Roof", formed=datetime(2026, 7, 1, 6, tzinfo=UTC))
    young = [make(site="Jar", formed=NOW - timedelta(days=8)) for _ in range(15)]
    young += [make(site="Jar", lost="disease", days=3, formed=NOW - timedelta(days=8)) for _ in range(10)]
    told = words.said(page([*old, *young], settings, NOW, "site"))
    assert told.sentences[0].words.startswith("Of the pupae whose outcome is known, 18 of 20")
    assert "not counted yet: 25 are too young to tell" in told.sentences[0].words
    assert not any(sentence.claims for sentence in told.sentences)


def test_two_seasons_of_different_luck_are_told_as_that(settings: Settings, make: MakePupa) -> None:
    pupae = []
    for year, rates in ((2025, {"Roof": (38, 2), "Jar": (9, 1)}), (2026, {"Roof": (5, 5), "Jar": (20, 20)})):
        for site, (sound, bad) in rates.items():
            pupae += group(make, sound, bad, site=site, formed=datetime(year, 7, 1, 6, tzinfo=UTC))
    sentence = next(one for one in said(pupae, settings, "site") if one.about == "site")
    assert not sentence.claims
    assert "vanishes where like is compared with like" in sentence.words
    assert "2025" in sentence.words
    assert "2026" in sentence.words


def test_those_lost_before_anybody_moves_them_make_no_move_look_good(settings: Settings, make: MakePupa) -> None:
    pupae = group(make, 30, 3, site="Roof", moved_after=100) + group(make, 30, 3, site="Roof")
    lost = own_broods([make(lost="disease", days=2, site="Roof") for _ in range(40)])
    (contest,) = contests(Season([*pupae, *lost], settings), "moved")
    assert (contest.rate, contest.other_rate) == (Rate(30, 33), Rate(30, 33))
    (alone,) = [c for c in contests(Season([*pupae, *lost], settings), "place") if c.group == "Chamber"]
    assert (alone.rate, alone.other_rate) == (Rate(30, 33), Rate(30, 33))


def test_the_same_records_in_another_order_give_the_same_answers(settings: Settings, make: MakePupa) -> None:
    """They come from the journal in no order; what is drawn by chance must not follow it."""
    chance = Random(3)
    pupae = []
    for _ in range(120):
        wings, site = "sound" if chance.random() < 0.8 else "crumpled", chance.choice(["Roof", "Jar"])
        pupae.append(make(wings=wings, site=site, formed=NOW - timedelta(days=20 + 30 * chance.random())))
        pupae[-1].brood = f"brood {chance.randrange(25)}"
    first = family(Season(pupae, settings, NOW), "site")
    assert any(contest.p < 1 for contest in first.contests)
    for _ in range(3):
        chance.shuffle(pupae)
        assert family(Season(pupae, settings, NOW), "site") == first
