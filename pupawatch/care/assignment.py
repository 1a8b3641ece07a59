"""A choice among columns of cost under rows of room, solved exactly, with a second wish among what costs the same.

It knows no pupa and no place: ``care.plan`` says what the columns and rows mean.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from numpy import float64
    from numpy.typing import NDArray
    from scipy.sparse import csr_array

    Array = NDArray[float64]

SAME = 1e-7
"""Costs that differ by no more are taken as the same: the exactness of the solver."""
_WHOLE = 1e-6
_MOST_NODES = 500
"""So long is looked for the second wish where the program is not whole by itself; counted in nodes, not in seconds, so
that the same shelf is always answered the same."""


class Program(NamedTuple):
    """Choose columns (each 0 or 1) so that ``cost`` adds up to as little as can be and no row sums to more than its
    ``most``; among the choices that cost the same, ``wish`` is to add up to as little as can be.

    entries: row, column and value of whatever is not 0 in the rows.
    """

    cost: Sequence[float]
    wish: Sequence[float]
    entries: Sequence[tuple[int, int, float]]
    most: Sequence[float]


def solve(program: Program) -> list[bool]:
    """Which columns to choose. Imports scipy. HiGHS, which it calls, may print from C: see ``pupawatch.quiet``.

    The rows of a shelf are nearly those of a network, so the linear program is nearly always whole: then it is exact,
    and its prices tell which other choices cost the same (complementary slackness). Else it is solved as an integer
    program, without a gap.
    """
    import numpy as np
    from scipy.sparse import csr_array

    rows, columns, values = zip(*program.entries, strict=True)
    shape = len(program.most), len(program.cost)
    matrix = csr_array((np.array(values, float), (np.array(rows), np.array(columns))), shape=shape)
    cost, wish, most = (np.array(part, float) for part in (program.cost, program.wish, program.most))
    chosen = _by_prices(cost, wish, matrix, most)
    return [bool(one > 0.5) for one in (chosen if chosen is not None else _by_branching(cost, wish, matrix, most))]


def _by_prices(cost: "Array", wish: "Array", matrix: "csr_array", most: "Array") -> "Array | None":
    """The whole optimum of the linear program with the least wish; None where it has none."""
    import numpy as np
    from scipy.optimize import Bounds, LinearConstraint, linprog, milp

    first = linprog(cost, A_ub=matrix, b_ub=most, bounds=(0, 1), method="highs")
    if not first.success:
        return None
    prices = first.lower.marginals + first.upper.marginals
    free = np.flatnonzero(np.abs(prices) <= SAME)
    chosen: Array = np.where(np.abs(prices) > SAME, np.round(first.x), 0.0)
    if len(free):
        left = most - matrix @ chosen
        paid = np.abs(first.ineqlin.marginals) > SAME
        second = milp(
            wish[free],
            integrality=np.ones(len(free)),
            bounds=Bounds(0, 1),
            constraints=LinearConstraint(matrix[:, free], np.where(paid, left, -np.inf), left),
            options={"node_limit": _MOST_NODES},
        )
        if second.x is not None:
            chosen[free] = np.round(second.x)
        elif _is_whole(first.x):
            chosen = np.round(first.x)
    is_best = abs(cost @ chosen - first.fun) <= _WHOLE and bool((matrix @ chosen <= most + _WHOLE).all())
    return chosen if is_best else None


def _by_branching(cost: "Array", wish: "Array", matrix: "csr_array", most: "Array") -> "Array":
    import numpy as np
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array, vstack

    whole, bounds, rows = np.ones(len(cost)), Bounds(0, 1), LinearConstraint(matrix, -np.inf, most)
    first = milp(cost, integrality=whole, bounds=bounds, constraints=rows, options={"mip_rel_gap": 0})
    assert first.success, first.message  # to choose nothing is always allowed
    all_rows = vstack([matrix, csr_array(cost[None, :])], format="csr")
    as_good = LinearConstraint(all_rows, -np.inf, np.append(most, first.fun + SAME))
    second = milp(
        wish,
        integrality=whole,
        bounds=bounds,
        constraints=as_good,
        options={"mip_rel_gap": 0, "node_limit": _MOST_NODES},
    )
    chosen: Array = np.round(first.x if second.x is None else second.x)
    return chosen


def _is_whole(x: "Array") -> bool:
    import numpy as np

    return bool(np.abs(x - np.round(x)).max() <= _WHOLE)
