"""The chance that a pupa lives: by how others ended, and by how late it is."""

import random
from datetime import UTC, datetime, timedelta

import pytest

from pupawatch.care import survival
from pupawatch.care.survival import Ends, chance, given_late
from pupawatch.model import entries as kinds
from pupawatch.model.entries import Entry
from pupawatch.model.fold import fold
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Settings

NOW = datetime(2026, 9, 8, 12, tzinfo=UTC)


def entry(kind: type[Entry], at: datetime, **fields: object) -> Entry:
    name = f"{kind.__name__}{at}"
    return kind(id=name, act=name, happened=at, recorded=at, zone="UTC", pupa="p", **fields)


def pupa(age_days: float, lost_at: float | None, emerges_at: float = 11) -> Pupa:
    """One that pupated so many days ago, and dies or emerges so many days after that, as far as that is over."""
    formed = NOW - timedelta(days=age_days)
    told = [entry(kinds.Found, formed, label="M", species="monarch", place="Roof")]
    if lost_at is not None and lost_at <= age_days:
        told.append(entry(kinds.Lost, formed + timedelta(days=lost_at), cause="disease"))
    elif lost_at is None and emerges_at <= age_days:
        told.append(entry(kinds.Emerged, formed + timedelta(days=emerges_at)))
    return fold("p", told)


def test_with_no_records_it_is_as_published(loaded: Settings) -> None:
    """199 of 212 unpricked pupae emerged at 18 to 30 °C (Ragonese et al., temperature experiment 2019)."""
    assert chance(0, Ends(), loaded.care.risk) == pytest.approx(199 / 212, abs=0.002)


def test_half_of_the_last_twenty_lost_counts(loaded: Settings) -> None:
    known = Ends(emerged=[260.0] * 10, lost=[100.0] * 10)
    assert chance(10, known, loaded.care.risk) == pytest.approx((10 * 0.94 + 10) / 30)
    assert chance(200, known, loaded.care.risk) == pytest.approx((10 * 0.94 + 10) / 20)  # past the age of those losses


def test_the_young_do_not_tell_of_losses_alone(loaded: Settings) -> None:
    """Losses are known on day 1 to 8, butterflies on day 10 to 12: mid-season, with 20 % of all lost, the share of the
    known ends that were losses is far higher. A simulated season, no assumption of the program."""
    draw = random.Random(5)
    pupae = []
    for _ in range(600):
        lost = draw.uniform(1, 8) if draw.random() < 0.2 else None
        pupae.append(pupa(draw.uniform(0, 30), lost, draw.uniform(10, 12)))
    known = survival.ends(pupae, NOW, loaded)
    raw_lost = sum(one.lost is not None for one in pupae[:])
    raw_emerged = sum(one.emerged is not None for one in pupae)
    assert raw_emerged / (raw_emerged + raw_lost) < 0.78
    assert chance(0, known, loaded.care.risk) == pytest.approx(0.8, abs=0.05)


def test_what_is_late_is_more_likely_dead(loaded: Settings) -> None:
    """Bayes' rule, worked by hand: of 100 pupae 94 live; of those 5 % would still be inside; 4.7 living, 6 dead."""
    rules = loaded.care.risk
    assert given_late(0.94, 0.05, rules) == pytest.approx(4.7 / 10.7)
    assert given_late(0.94, 1.0, rules) == pytest.approx(0.94)
    assert given_late(1.0, 0.0, rules) == 1.0
    assert given_late(0.94, 0.5, rules) > given_late(0.94, 0.1, rules) > given_late(0.94, 0.03, rules)


def test_no_date_is_so_sure_that_what_is_late_is_dead(loaded: Settings) -> None:
    assert given_late(0.94, 0.0, loaded.care.risk) == pytest.approx(0.94 * 0.02 / (0.94 * 0.02 + 0.06))


def test_where_the_keepers_own_take_longer_they_get_longer_to_end(loaded: Settings) -> None:
    """In a cool room all take 20 days: one lost on day 3 that formed 17 days ago must not tell alone of its age."""
    old = [pupa(60 + n, None, 20) for n in range(10)]
    usual = loaded.profile("monarch").pupal_days_high
    assert 15 <= usual < 17
    assert survival.ends([*old, pupa(17, 3)], NOW, loaded).lost == []
    assert survival.ends([*old, pupa(21, 3)], NOW, loaded).lost == [72]
    assert survival.ends([*old[:9], pupa(17, 3)], NOW, loaded).lost == [72]  # nine of the own do not tell yet
