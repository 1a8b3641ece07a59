"""Families: pupae that are not independent of each other, and tests that ask whole families.

Pupae of one brood share parents, food and cage, so that two groups can differ by chance far more than as many
independent pupae would. Where a brood lies wholly in one group, the whole brood is one draw; where it lies in both, its
members can be compared with each other. A brood that nobody recorded is taken to be what pupated at one site in one
week.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from itertools import combinations
from math import comb, prod
from typing import TYPE_CHECKING, NamedTuple

from pupawatch.review.intervals import Pair, exact_p

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

DRAWS = 4_999
"""So many random arrangements stand for all where there are more than can be counted."""
_COUNTED = 20_000
_SEED = 1
"""The same records give the same p, every time and on every machine."""
_HAIR = 1e-9


class Member(NamedTuple):
    """One pupa of a question: its family, the stratum it is compared within, whether it is in the group that is asked
    about, and whether it went well."""

    family: str
    stratum: str
    inside: bool
    hit: bool


class _Whole(NamedTuple):
    """A family that lies wholly on one side, with ``hits`` of ``n``."""

    inside: bool
    hits: int
    n: int


class _Stratum(NamedTuple):
    """The families of one stratum that lie wholly on one side; some on each."""

    families: list[_Whole]

    @property
    def inside(self) -> int:
        """How many are in the group."""
        return sum(one.inside for one in self.families)

    @property
    def pair(self) -> Pair:
        """The two sides as if all pupae were independent."""
        mine = [one for one in self.families if one.inside]
        others = [one for one in self.families if not one.inside]
        return Pair(
            sum(one.hits for one in mine), sum(one.n for one in mine),
            sum(one.hits for one in others), sum(one.n for one in others),
        )  # fmt: skip

    @property
    def surplus(self) -> list[float]:
        """By how many each family did better than the stratum."""
        rate = _rate(self.pair)
        return [one.hits - one.n * rate for one in self.families]

    @property
    def seen(self) -> float:
        """By how many the group did."""
        return sum(more for more, one in zip(self.surplus, self.families, strict=True) if one.inside)


class Answer(NamedTuple):
    """p: two-sided, of "the group makes no difference"; families: how many stand on each side, those on both sides
    counted twice; spread: by how much the difference varies more than that of
    independent pupae would (a ratio of variances, at least 1)."""

    p: float
    families: tuple[int, int]
    spread: float


def asked(members: Iterable[Member]) -> Answer:
    """Whether the group differs from the others within every stratum: a permutation test.

    What was seen is compared with all that would be seen if whole families were dealt out to the groups by chance, and
    the members of a family that lies on both sides among themselves; as many families and members to each group as
    there were (Good 2005, Permutation Tests, chapter on blocks and clusters; from memory). All arrangements are counted
    where they are few. Where every family is on both sides, or is one pupa, this is the exact conditional test.
    """
    strata, pairs = _sorted_out(members)
    families = _on_each_side(strata, pairs)
    if not strata:
        return Answer(exact_p(pairs) if pairs else 1.0, families, 1.0)
    if not pairs and all(one.n == 1 for stratum in strata for one in stratum.families):
        return Answer(exact_p([stratum.pair for stratum in strata]), families, 1.0)
    seen = sum(stratum.seen for stratum in strata) + sum(pair.hits - pair.n * _rate(pair) for pair in pairs)
    ways = prod(comb(len(stratum.families), stratum.inside) for stratum in strata)
    alone = sum(_variance(pair) for pair in (*pairs, *(stratum.pair for stratum in strata)))
    if ways <= _COUNTED and not pairs:
        drawn = _every_deal(strata)
        p = float((abs(drawn) >= abs(seen) - _HAIR).mean())
    else:
        drawn = _random_deals(strata, pairs)
        p = (1 + int((abs(drawn) >= abs(seen) - _HAIR).sum())) / (DRAWS + 1)
    spread = max(1.0, float(drawn.var()) / alone) if alone > 0 else 1.0
    return Answer(p, families, spread)


def flipped(scores: Iterable[float]) -> tuple[float, int]:
    """Two-sided p of "these add up to nothing", and of how many families: each family's score may have either sign.

    A sign-flip test (wild cluster randomisation; Canay, Santos & Shaikh 2021, Rev. Econ. Stat. 103:346, from memory).
    """
    import numpy as np

    told = np.array([score for score in scores if score != 0.0])
    if len(told) == 0:
        return 1.0, 0
    if 2 ** len(told) <= _COUNTED:
        signs = ((np.arange(2 ** len(told))[:, None] >> np.arange(len(told))) & 1) * 2.0 - 1.0
        return float((abs(signs @ told) >= abs(told.sum()) - _HAIR).mean()), len(told)
    signs = np.random.default_rng(_SEED).integers(0, 2, size=(DRAWS, len(told))) * 2.0 - 1.0
    return (1 + int((abs(signs @ told) >= abs(told.sum()) - _HAIR).sum())) / (DRAWS + 1), len(told)


def _sorted_out(members: Iterable[Member]) -> tuple[list[_Stratum], list[Pair]]:
    """The strata in which whole families can be compared, and the families that lie on both sides of the question."""
    counts: dict[tuple[str, str], list[list[int]]] = defaultdict(lambda: [[0, 0], [0, 0]])
    for member in members:
        side = counts[member.stratum, member.family][member.inside]
        side[0] += member.hit
        side[1] += 1
    whole: dict[str, list[_Whole]] = defaultdict(list)
    mixed = []
    # In one order whatever order the pupae came in: the same records must draw the same arrangements.
    for (stratum, _), ((other_hits, other_n), (hits, n)) in sorted(counts.items()):
        if n and other_n:
            mixed.append(Pair(hits, n, other_hits, other_n))
        else:
            whole[stratum].append(_Whole(bool(n), hits + other_hits, n + other_n))
    both = (_Stratum(some) for some in whole.values())
    return [stratum for stratum in both if 0 < stratum.inside < len(stratum.families)], mixed


def _on_each_side(strata: Sequence[_Stratum], pairs: Sequence[Pair]) -> tuple[int, int]:
    inside = sum(stratum.inside for stratum in strata)
    return inside + len(pairs), sum(len(stratum.families) for stratum in strata) - inside + len(pairs)


def _rate(pair: Pair) -> float:
    return (pair.hits + pair.other_hits) / (pair.n + pair.other_n)


def _every_deal(strata: Sequence[_Stratum]) -> "NDArray[np.float64]":
    """The sum of the group's surpluses for every way to deal whole families out within the strata."""
    import numpy as np

    sums = np.zeros(1)
    for stratum in strata:
        ways = [sum(way) for way in combinations(stratum.surplus, stratum.inside)]
        sums = (sums[:, None] + np.array(ways)[None, :]).ravel()
    return sums


def _random_deals(strata: Sequence[_Stratum], pairs: Sequence[Pair]) -> "NDArray[np.float64]":
    import numpy as np

    chance, sums = np.random.default_rng(_SEED), np.zeros(DRAWS)
    for stratum in strata:
        order = chance.random((DRAWS, len(stratum.families))).argsort(axis=1)[:, : stratum.inside]
        sums += np.array(stratum.surplus)[order].sum(axis=1)
    for pair in pairs:
        hits = pair.hits + pair.other_hits
        dealt = chance.hypergeometric(hits, pair.n + pair.other_n - hits, pair.n, DRAWS)
        sums += dealt - pair.n * _rate(pair)
    return sums


def _variance(pair: Pair) -> float:
    """Of the hits of one side, given all hits: the hypergeometric one."""
    whole, rate = pair.n + pair.other_n, _rate(pair)
    return pair.n * pair.other_n * rate * (1 - rate) / (whole - 1) if whole > 1 else 0.0
