"""A choice among columns of cost under rows of room, solved exactly, with a second wish among what costs the same.

It knows no pupa and no place: ``care.plan`` says what the columns and rows mean.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from numpy import bool_, float64
    from numpy.typing import NDArray
    from scipy.sparse import csr_array

    Array = NDArray[float64]
    Mask = NDArray[bool_]

SAME = 1e-7
"""Costs that differ by no more are taken as the same: the exactness of the solver."""
_WHOLE = 1e-6
_NEAR = 0.03
"""So close to the linear program its best whole choice mostly lies; farther is looked only where it does not."""
_MOST_NODES = 50
"""So long is looked for the wish where the program is not whole by itself; counted in nodes, not in seconds, so that
the same shelf is always answered the same."""


class Program(NamedTuple):
    """Choose columns (each 0 or 1) so that ``cost`` adds up to as little as can be and no row sums to more than its
    ``most``; among the choices that cost the same, ``wish`` is to add up to as little as can be.

    entries: row, column and value of whatever is not 0 in the rows.
    """

    cost: Sequence[float]
    wish: Sequence[float]
    entries: Sequence[tuple[int, int, float]]
    most: Sequence[float]


class _Relaxed(NamedTuple):
    """The linear program without whole numbers: its least cost, a choice of that cost, the price of each column (by how
    much the cost would rise at least if it were chosen otherwise), and which rows are worth anything."""

    cost: float
    chosen: "Array"
    prices: "Array"
    paid: "Array"


def solve(program: Program) -> list[bool]:
    """Which columns to choose. Imports scipy. HiGHS, which it calls, may print from C: see ``pupawatch.quiet``.

    The rows of a shelf are nearly those of a network, so the linear program is nearly always whole: then it is exact.
    Else it is solved as an integer program, without a gap. Either way its prices tell which columns can be chosen at
    all in a choice that costs as little (reduced costs), so that the second wish is asked of few.
    """
    import numpy as np
    from scipy.sparse import csr_array

    rows, columns, values = zip(*program.entries, strict=True)
    shape = len(program.most), len(program.cost)
    matrix = csr_array((np.array(values, float), (np.array(rows), np.array(columns))), shape=shape)
    cost, wish, most = (np.array(part, float) for part in (program.cost, program.wish, program.most))
    relaxed = _relaxed(cost, matrix, most)
    chosen = _by_prices(wish, matrix, most, relaxed)
    if abs(cost @ chosen - relaxed.cost) > _WHOLE or (matrix @ chosen > most + _WHOLE).any():
        chosen = _by_branching(cost, wish, matrix, most, relaxed)
    return [bool(one > 0.5) for one in chosen]


def _relaxed(cost: "Array", matrix: "csr_array", most: "Array") -> _Relaxed:
    import numpy as np
    from scipy.optimize import linprog

    found = linprog(cost, A_ub=matrix, b_ub=most, bounds=(0, 1), method="highs")
    assert found.success, found.message  # to choose nothing is always allowed
    prices = found.lower.marginals + found.upper.marginals
    return _Relaxed(found.fun, found.x, prices, np.abs(found.ineqlin.marginals) > SAME)


def _by_prices(wish: "Array", matrix: "csr_array", most: "Array", relaxed: _Relaxed) -> "Array":
    """Of the choices that cost as little as the relaxed one, a whole one with the least wish, where there is one. Those
    are all that keep to its prices: no column of a price, no row of worth left unfilled (complementary slackness)."""
    import numpy as np
    from scipy.optimize import LinearConstraint

    whole: Array = np.round(relaxed.chosen)
    free = np.abs(relaxed.prices) <= SAME
    left = most - matrix @ np.where(free, 0.0, whole)
    rows = LinearConstraint(matrix[:, np.flatnonzero(free)], np.where(relaxed.paid, left, -np.inf), left)
    return _chosen_freely(wish, rows, free, whole, _MOST_NODES)


def _by_branching(cost: "Array", wish: "Array", matrix: "csr_array", most: "Array", relaxed: _Relaxed) -> "Array":
    """The whole choice that costs least, and of those with the same cost one with a small wish."""
    import numpy as np
    from scipy.optimize import LinearConstraint
    from scipy.sparse import csr_array, vstack

    whole: Array = np.zeros(len(cost))
    gap = np.inf
    for near in (_NEAR, np.inf):
        free, at_bound = _open(relaxed, near)
        left = most - matrix @ at_bound
        rows = LinearConstraint(matrix[:, np.flatnonzero(free)], -np.inf, left)
        whole = _chosen_freely(cost, rows, free, at_bound, None)
        gap = float(cost @ whole) - relaxed.cost
        if gap <= near and (matrix @ whole <= most + _WHOLE).all():
            break
    free, at_bound = _open(relaxed, gap)
    all_rows, all_most = vstack([matrix, csr_array(cost[None, :])], format="csr"), np.append(most, cost @ whole + SAME)
    left = all_most - all_rows @ at_bound
    rows = LinearConstraint(all_rows[:, np.flatnonzero(free)], -np.inf, left)
    return _chosen_freely(wish, rows, free, whole, _MOST_NODES)


def _open(relaxed: _Relaxed, gap: float) -> "tuple[Mask, Array]":
    """Which columns may differ from the relaxed choice where the cost may be higher by ``gap``, and what the others are
    in every such choice."""
    import numpy as np

    free: Mask = np.abs(relaxed.prices) <= gap + SAME
    at_bound: Array = np.where(free, 0.0, np.round(relaxed.chosen))
    return free, at_bound


def _chosen_freely(cost: "Array", rows: object, free: "Mask", whole: "Array", most_nodes: int | None) -> "Array":
    """The choice of the free columns that costs least, the others as in ``whole``; ``whole`` where none is found."""
    import numpy as np
    from scipy.optimize import Bounds, milp

    columns = np.flatnonzero(free)
    if not len(columns):
        return whole
    options = {"mip_rel_gap": 0} | ({} if most_nodes is None else {"node_limit": most_nodes})
    found = milp(
        cost[columns], integrality=np.ones(len(columns)), bounds=Bounds(0, 1), constraints=rows, options=options
    )
    chosen = whole.copy()
    if found.x is not None:
        chosen[columns] = np.round(found.x)
    return chosen
