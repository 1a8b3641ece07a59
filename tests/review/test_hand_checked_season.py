"""A season of 24 pupae and one caterpillar, every number of which was worked out by hand in the comments."""

from datetime import UTC, datetime

import pytest

from pupawatch.exchange.notebook import reading as notebook
from pupawatch.model.settings import Settings
from pupawatch.model.state import State
from pupawatch.review.compare import family, moved_strata
from pupawatch.review.durations import Lifetime, emergence_hours, emergences_by_day, lifetime
from pupawatch.review.factors import Season, first_move, hang_at_move
from pupawatch.review.page import Page, page, review_json
from pupawatch.words.review import Sentence, said

NOW = datetime(2026, 9, 1, tzinfo=UTC)

# Roof (10): R1-R4 sound, unmoved; R5 sound, moved after 50 h; R6 sound, moved after 30 h; R7 crumpled, moved after
#   26 h; R8 emerged, never judged; R9 lost to disease; R10 still a pupa.
# Stems (8): S1 sound, unmoved; S2 sound, moved after 80 h; S3 crumpled, unmoved; S4 creased, moved after 20 h; S5
#   lost, nobody knows why; S6 lost to flies, moved in an emergency after 10 h; S7 let go, never judged; S8 sound,
#   moved in an emergency after 49 h.
# Jar (4): J1, J2 sound; J3 lost by a fall; J4 still a pupa, seen dark.
# Net (2, a place nobody described): N1 sound; N2 written down both as emerged and as lost, so nobody knows.
# C1 is a caterpillar that never became a pupa: it does not count.
NOTEBOOK = """\
label,site,formed_from,formed_to,stage,stage_seen_at,moved_to,moved_at,move_method,move_reason,emerged_from,emerged_to,emerged_place,wings,sex,loss,loss_at,released_at
R1,Roof,2026-06-30T18:00,2026-07-01T06:00,,,,,,,2026-07-11T06:00,2026-07-11T08:00,,sound,female,,,
R2,Roof,2026-06-30T18:00,2026-07-01T06:00,,,,,,,2026-07-11T06:00,2026-07-11T08:00,,sound,male,,,
R3,Roof,2026-06-30T18:00,2026-07-01T06:00,,,,,,,2026-07-11T06:00,2026-07-11T08:00,,sound,male,,,
R4,Roof,2026-06-30T18:00,2026-07-01T06:00,,,,,,,2026-07-11T06:00,2026-07-11T08:00,,sound,,,,
R5,Roof,2026-06-30T18:00,2026-07-01T06:00,,,Chamber,2026-07-03T08:00,silk,,2026-07-11T06:00,2026-07-11T08:00,,sound,,,,
R6,Roof,2026-06-30T18:00,2026-07-01T06:00,,,Chamber,2026-07-02T12:00,silk,,2026-07-11T06:00,2026-07-11T08:00,,sound,,,,
R7,Roof,2026-06-30T18:00,2026-07-01T06:00,,,Chamber,2026-07-02T08:00,tie,,2026-07-11T06:00,2026-07-11T08:00,,crumpled,,,,
R8,Roof,2026-06-30T18:00,2026-07-01T06:00,,,,,,,2026-07-11T06:00,2026-07-11T08:00,,,,,,
R9,Roof,2026-06-30T18:00,2026-07-01T06:00,,,,,,,,,,,,disease,2026-07-06T06:00,
R10,Roof,2026-06-30T18:00,2026-07-01T06:00,,,,,,,,,,,,,,
S1,Stems,2026-07-04T18:00,2026-07-05T06:00,,,,,,,2026-07-14T18:00,2026-07-15T08:00,,sound,,,,
S2,Stems,2026-07-04T18:00,2026-07-05T06:00,,,Chamber,2026-07-08T14:00,tie,,2026-07-14T18:00,2026-07-15T08:00,,sound,,,,
S3,Stems,2026-07-04T18:00,2026-07-05T06:00,,,,,,,2026-07-14T18:00,2026-07-15T08:00,,crumpled,,,,
S4,Stems,2026-07-04T18:00,2026-07-05T06:00,,,Chamber,2026-07-06T02:00,,,2026-07-14T18:00,2026-07-15T08:00,,creased,,,,
S5,Stems,2026-07-04T18:00,2026-07-05T06:00,,,,,,,,,,,,unknown,2026-07-12T06:00,
S6,Stems,2026-07-04T18:00,2026-07-05T06:00,,,Chamber,2026-07-05T16:00,whole,fallen,,,,,,parasitoid,2026-07-13T06:00,
S7,Stems,2026-07-04T18:00,2026-07-05T06:00,,,,,,,,,,,,,,2026-07-16T12:00
S8,Stems,2026-07-04T18:00,2026-07-05T06:00,,,Chamber,2026-07-07T07:00,glue,heat,2026-07-14T18:00,2026-07-15T08:00,,sound,,,,
J1,Jar,2026-07-05T18:00,2026-07-06T06:00,,,,,,,2026-07-16T06:00,2026-07-16T08:00,,sound,,,,
J2,Jar,2026-07-05T18:00,2026-07-06T06:00,,,,,,,2026-07-16T06:00,2026-07-16T08:00,,sound,,,,
J3,Jar,2026-07-05T18:00,2026-07-06T06:00,,,,,,,,,,,,fall,2026-07-08T06:00,
J4,Jar,2026-07-05T18:00,2026-07-06T06:00,darkening,2026-07-15T06:00,,,,,,,,,,,,
N1,Net,2026-07-06T18:00,2026-07-07T06:00,,,,,,,2026-07-17T06:00,2026-07-17T08:00,Twig,sound,,,,
N2,Net,2026-07-06T18:00,2026-07-07T06:00,,,,,,,2026-07-17T06:00,2026-07-17T08:00,,,,stuck,2026-07-17T09:00,
C1,Jar,,,prepupa,2026-07-10T06:00,,,,,,,,,,,,
"""


@pytest.fixture(scope="module")
def season(settings: Settings, tmp_path_factory: pytest.TempPathFactory) -> Season:
    path = tmp_path_factory.mktemp("notebook") / "season.csv"
    path.write_text(NOTEBOOK, encoding="utf-8")
    read = notebook.read(path, settings, NOW, lambda label: ())
    assert read.problems == []
    pupae = State(read.entries).pupae
    for pupa in pupae.values():
        pupa.brood = pupa.label  # each of another brood, so that all are independent, as the hand count takes them
    return Season(pupae.values(), settings)


@pytest.fixture(scope="module")
def told(season: Season) -> Page:
    return page(season.pupae, season.settings, NOW, "site")


def row(season: Season, by: str, group: str) -> tuple[int, ...]:
    c = season.counts(by)[group]
    return c.formed, c.pending, c.emerged, c.lost, c.unknown, c.judged, c.sound, c.deformed


def test_each_site_has_the_counts_worked_out_by_hand(season: Season) -> None:
    #                                     formed pending emerged lost unknown judged sound deformed
    assert row(season, "site", "Roof") == (10, 1, 8, 1, 1, 7, 6, 1)
    assert row(season, "site", "Stems") == (8, 0, 6, 2, 1, 5, 3, 2)
    assert row(season, "site", "Jar") == (4, 1, 2, 1, 0, 2, 2, 0)
    assert row(season, "site", "Net") == (2, 0, 2, 0, 1, 1, 1, 0)


def test_the_caterpillar_that_never_pupated_is_no_pupa(season: Season) -> None:
    assert "C1" not in {pupa.label for pupa in season.pupae}
    assert season.total().formed == 24  # 10 + 8 + 4 + 2


def test_all_together_add_up_with_their_causes_of_loss(season: Season) -> None:
    total = season.total()
    assert (total.pending, total.emerged, total.lost) == (2, 18, 4)  # 24 = 2 + 18 + 4
    assert (total.unknown, total.judged, total.sound, total.deformed) == (3, 15, 12, 3)
    assert total.causes == {"disease": 1, "fall": 1, "parasitoid": 1, "unknown": 1}


def test_success_and_its_wilson_interval_are_those_worked_out_by_hand(season: Season) -> None:
    roof = season.counts("site")["Roof"].success
    assert (roof.hits, roof.n) == (6, 8)  # 6 sound of 7 judged and 1 lost
    # z² = 3.841459. Centre (0.75 + z²/16) / (1 + z²/8) = 0.990091 / 1.480182 = 0.668898;
    # half 1.959964 · √(0.75·0.25/8 + z²/256) / 1.480182 = 1.959964 · 0.196069 / 1.480182 = 0.259622.
    assert roof.interval == pytest.approx((0.409276, 0.928520), abs=2e-6)
    assert (roof.worst, roof.best) == pytest.approx((6 / 9, 7 / 9))  # R8 bad, R8 sound

    stems = season.counts("site")["Stems"].success
    assert (stems.hits, stems.n) == (3, 7)  # 3 sound of 5 judged and 2 lost
    # Centre (0.428571 + z²/14) / (1 + z²/7) = 0.702961 / 1.548780 = 0.453881;
    # half 1.959964 · √(0.034985 + 0.019599) / 1.548780 = 0.295661.
    assert stems.interval == pytest.approx((0.158220, 0.749542), abs=2e-6)
    assert (stems.worst, stems.best) == (3 / 8, 4 / 8)

    total = season.total().success
    assert (total.hits, total.n) == (12, 19)
    assert (total.worst, total.best) == pytest.approx((12 / 22, 15 / 22))


def test_the_record_for_other_programs_follows_its_contract(season: Season) -> None:
    record = review_json(season.pupae, season.settings, "site")
    assert record["by"] == "site"
    assert [one["group"] for one in record["rows"]] == ["Jar", "Net", "Roof", "Stems"]
    roof = record["rows"][2]
    assert list(roof) == [
        "group", "formed", "pending", "emerged", "lost", "unknown", "judged", "sound", "deformed",
        "success", "deformity", "ended",
    ]  # fmt: skip
    assert roof["success"] == {
        "rate": 0.75,
        "low": pytest.approx(0.409276, abs=2e-6),
        "high": pytest.approx(0.928520, abs=2e-6),
        "worst": pytest.approx(2 / 3),
        "best": pytest.approx(7 / 9),
    }
    # 1 of 7: centre (0.142857 + z²/14) / (1 + z²/7) = 0.417247 / 1.548780 = 0.269404;
    # half 1.959964 · √(0.142857·0.857143/7 + 0.019599) / 1.548780 = 1.959964 · 0.192593 / 1.548780 = 0.243724.
    assert roof["deformity"] == {
        "rate": pytest.approx(1 / 7),
        "low": pytest.approx(0.025680, abs=2e-6),
        "high": pytest.approx(0.513128, abs=2e-6),
    }
    assert record["total"]["formed"] == 24
    assert record["total"]["deformity"]["rate"] == 0.2  # 3 of 15


def test_moved_and_not_moved_split_the_season(season: Season) -> None:
    # Moved R5 R6 S2 S8 sound, R7 S4 deformed, S6 lost. Not moved: 12 - 4 sound, S3 deformed, R9 S5 J3 lost,
    # R8 S7 N2 unknown, R10 J4 pending.
    assert row(season, "moved", "moved") == (7, 0, 6, 1, 0, 6, 4, 2)
    assert row(season, "moved", "not moved") == (17, 2, 12, 3, 3, 9, 8, 1)


def test_hang_time_at_the_move_is_the_certain_one(season: Season) -> None:
    hours = {pupa.label: hang_at_move(pupa) for pupa in season.pupae if first_move(pupa)}
    assert hours == {"R5": 50, "R6": 30, "R7": 26, "S2": 80, "S4": 20, "S6": 10, "S8": 49}
    assert row(season, "hang", "0–24 h")[-2:] == (0, 1)  # S4 deformed, S6 lost
    assert row(season, "hang", "24–48 h")[-2:] == (1, 1)  # R6 sound, R7 deformed
    assert row(season, "hang", "48–72 h")[-2:] == (2, 0)  # R5, S8
    assert row(season, "hang", "72–120 h")[-2:] == (1, 0)  # S2
    assert row(season, "hang", "not moved")[0] == 17


@pytest.mark.parametrize(
    ("by", "formed"),
    [
        ("surface", {"mesh": 10, "cut-stem": 8, "glass": 4, "unknown": 2}),
        ("place", {"Roof": 7, "Stems": 4, "Jar": 4, "Chamber": 7, "Net": 1, "Twig": 1}),
        ("method", {"silk": 2, "tie": 2, "whole": 1, "glue": 1, "not known": 1, "not moved": 17}),
        ("emergency", {"planned": 5, "emergency": 2, "not moved": 17}),
        ("season", {"2026": 24}),
        ("week", {"2026-W27": 18, "2026-W28": 6}),  # 5 July 2026 is a Sunday
        ("species", {"monarch": 24}),
        ("sex", {"female": 1, "male": 2, "not known": 21}),
        ("temperature", {"21 °C": 7, "not known": 17}),
        ("finding", {"no finding": 24}),
        (
            "site,moved",
            {
                "Roof · moved": 3, "Roof · not moved": 7, "Stems · moved": 4, "Stems · not moved": 4,
                "Jar · not moved": 4, "Net · not moved": 2,
            },
        ),
    ],
)  # fmt: skip
def test_every_factor_splits_the_24_as_counted_by_hand(season: Season, by: str, formed: dict[str, int]) -> None:
    assert {group: counts.formed for group, counts in season.counts(by).items()} == formed


def test_filters_combine(season: Season) -> None:
    kept = season.only({"site": "Roof", "moved": "moved", "method": "silk"})
    assert {pupa.label for pupa in kept.pupae} == {"R5", "R6"}


def test_the_ranking_draws_small_groups_in_and_leaves_the_smallest_out(told: Page) -> None:
    # Only two sites have five known outcomes, so the keeper's own rate holds, with the weight of ten pupae: 12 sound of
    # 19, and one more at 0.92, make (12 + 0.92) / 20 = 0.646.
    assert not told.ranking.prior.fitted
    roof, stems = told.ranking.standings
    assert (roof.group, stems.group) == ("Roof", "Stems")
    assert roof.estimate == pytest.approx(12.46 / 18)  # (6 + 6.46) / (8 + 10)
    assert stems.estimate == pytest.approx(9.46 / 17)  # (3 + 6.46) / (7 + 10)
    assert said(told).notes[-1] == "Too few to tell (under 5 known outcomes): Jar (3), Net (1)."


def test_the_comparisons_have_the_exact_p_counted_by_hand(season: Season) -> None:
    roof, stems, moved = family(season, "site").contests
    # Roof 6 of 8 against 6 of 11. Ways with k sound in the roof, C(8,k)·C(11,12−k), k = 1..8:
    # 8, 308, 3080, 11550, 18480, 12936, 3696, 330; all 50388; only k = 5 is likelier than the 6 seen.
    assert (roof.rate[:3], roof.other_rate[:3]) == ((6, 8, 0), (6, 11, 0))
    assert roof.p == pytest.approx((50388 - 18480) / 50388)
    # Stems 3 of 7 against 9 of 12: C(7,k)·C(12,12−k), k = 0..7: 1, 84, 1386, 7700, 17325, 16632, 6468, 792.
    assert stems.p == pytest.approx((1 + 84 + 1386 + 7700 + 6468 + 792) / 50388)
    # Moved as planned against not moved, within mesh 2 of 3 and 4 of 5, within cut stems 1 of 2 and 1 of 3.
    assert [tuple(pair) for pair in moved.strata] == [(1, 2, 1, 3), (2, 3, 4, 5)]
    # Sums of both strata: 9, 63, 123, 75, 10 of 280 ways; 3 was seen, the likeliest of all.
    assert moved.p == pytest.approx(1)
    # Weights 3·5/8 = 1.875 and 2·3/5 = 1.2: (1.875·(2/3 − 4/5) + 1.2·(1/2 − 1/3)) / 3.075 = −0.05 / 3.075.
    assert moved.difference.value == pytest.approx(-0.05 / 3.075)


def test_moved_is_shown_within_surface_and_apart_from_emergencies(season: Season) -> None:
    strata = {(s, arm): c.success[:2] for s, arms in moved_strata(season).items() for arm, c in arms.items()}
    assert strata == {
        ("mesh", "planned"): (2, 3),  # R5 R6 sound, R7 not
        ("mesh", "not moved"): (4, 5),  # R1-R4 sound, R9 lost
        ("cut-stem", "planned"): (1, 2),  # S2 sound, S4 not
        ("cut-stem", "emergency"): (1, 2),  # S8 sound, S6 lost
        ("cut-stem", "not moved"): (1, 3),  # S1 sound, S3 and S5 not
        ("glass", "not moved"): (2, 3),
        ("unknown", "not moved"): (1, 1),
    }


def test_holm_counts_every_question_of_the_page(season: Season) -> None:
    asked = family(season, "site")
    # Roof, Stems, moved, and the week: 7 went badly (R7 R9 S3 S4 S5 S6 J3), 12 well. Hang: only 2 deformed, not asked.
    assert asked.size == 4
    (week,) = asked.shifts
    assert sorted(week.bad) == [0, 0, 4, 4, 4, 4, 5]  # days after 1 July
    assert sorted(week.good) == [0] * 6 + [4, 4, 4, 5, 5, 6]
    # The rank test finds nothing either, and four times a p of 0.3 is no p any more.
    assert min(week.p, *(contest.p for contest in asked.contests)) > 0.25
    assert {week.corrected, *(contest.corrected for contest in asked.contests)} == {1.0}


def test_durations_lie_between_the_extremes_of_their_intervals(season: Season) -> None:
    lives = {pupa.label: lifetime(pupa) for pupa in season.pupae}
    assert lives["R1"] == Lifetime(240, 254)  # 1 July 06:00 to 11 July 06:00; 30 June 18:00 to 11 July 08:00
    assert lives["S1"] == Lifetime(228, 254)
    assert lives["J4"] == Lifetime(216, float("inf"))  # last seen as a pupa on 15 July 06:00
    assert lives["R9"] is None  # lost; nothing between found and lost says how long it lived
    assert lives["S6"] == Lifetime(10, float("inf"))  # seen alive when it was moved


def test_half_the_roof_had_emerged_within_the_one_interval_they_share(told: Page) -> None:
    roof = told.curves["Roof"]
    median = roof.median()
    assert (roof.n, roof.emerged) == (8, 8)
    assert median is not None
    assert (median.over, median.up_to) == (240, 254)
    assert median.share == pytest.approx(1)


def test_hours_of_day_are_told_only_where_the_interval_is_short(season: Season) -> None:
    hours = emergence_hours(season)
    # Known within 2 h: R1-R8, J1, J2, N1, N2, half of each in either hour. S1-S4 and S8 (14 h) and S7 are too vague.
    assert (hours.n, hours.unsure) == (12, 6)
    assert hours.by_hour == [6.0 if hour in (6, 7) else 0.0 for hour in range(24)]


def test_emergences_fall_on_their_days(season: Season) -> None:
    days = {f"{day:%m-%d}": number for day, number in emergences_by_day(season).items()}
    assert days == {"07-11": 8, "07-15": 5, "07-16": 3, "07-17": 2}  # S7 was out by the 16th, when it was let go


def test_the_differences_have_the_intervals_worked_out_by_hand(season: Season) -> None:
    _, stems, moved = family(season, "site").contests
    # Wilson: 3 of 7 0.158220-0.749542 (above), 9 of 12 0.467694-0.911058. 3/7 − 9/12 = −0.321429,
    # below √(0.270351² + 0.161058²) = 0.314689, above √(0.320971² + 0.282306²) = 0.427457.
    assert stems.difference == pytest.approx((-0.321429, -0.636118, 0.106028), abs=3e-6)
    # Wilson: 2/3 0.207660-0.938508, 4/5 0.375535-0.963775, 1/2 0.094531-0.905469, 1/3 0.061492-0.792340. Shares
    # 1.875 and 1.2 of 3.075, squared 0.371803 and 0.152290. Below: 0.371803·(0.459007² + 0.163775²) +
    # 0.152290·(0.405469² + 0.459007²) = 0.145430; above: 0.371803·(0.271841² + 0.424465²) +
    # 0.152290·(0.405469² + 0.271841²) = 0.130755. −0.016260 − √0.145430, −0.016260 + √0.130755.
    assert moved.difference == pytest.approx((-0.016260, -0.397613, 0.345341), abs=5e-6)


def test_the_sentences_carry_these_numbers_and_claim_nothing(told: Page) -> None:
    # What is usually missed, 2.8016 standard errors: of the stems, with 13 of 21 (one added on either side),
    # √(0.619·0.381·(1/7 + 1/12)) = 0.231, 65 points; of the moved, with 9 of 15, √(0.24·(1/5 + 1/8)) = 0.279: 78.
    assert said(told).sentences == [
        Sentence(
            "all",
            "Of the pupae whose outcome is known, 12 of 19 (63 %, 95 % interval 41 to 81 %) emerged with sound wings; "
            "not counted yet: 2 are overdue. 3 more emerged and their wings were never judged: the rate is 55 % if all "
            "of those were bad, 68 % if all were sound.",
        ),
        Sentence(
            "site",
            "By site no clear difference: the clearest is Stems 3 of 7 sound against 9 of 12 for all others (−32 "
            "points, 95 % interval −64 to +11; p = 1 over all 4 questions); with these "
            "numbers a difference under 65 points would usually be missed.",
        ),
        Sentence(
            "moved",
            "Whether planned moves helped or harmed is not clear: moved 3 of 5 sound against 5 of 8 not moved "
            "(among those alive at one age, within each surface and season −2 points, 95 % interval −40 to +35; p = 1 "
            "over all 4 questions; 5 families against 8); a difference under 78 points "
            "would usually be missed.",
        ),
    ]
