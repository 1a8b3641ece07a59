"""Who goes where, solved exactly: the whole shelf at once, not one pupa after the other."""

from collections.abc import Mapping, Sequence


def assign(
    stays: Sequence[float],
    moved: Sequence[Mapping[str, float]],
    rooms: Mapping[str, int | None],
    limited: Sequence[bool],
    most: int,
) -> list[str | None]:
    """The place for each pupa, or None where it stays, so that the costs add up to as little as can be.

    stays: what it costs, from -2 to 2, to leave each pupa where it is; moved: what it costs to hang it at each place it
    may go to; rooms: how many each place takes (None: any number). limited: the pupae of which no more than ``most``
    may move; the others are not counted.

    It is an assignment of pupae to columns: one for each free place, and for staying one a pupa. The limit makes it no
    harder: of the columns for staying, so many as limited pupae must stay are paid for so well that an optimum leaves
    none of them empty. (Ports and pupae form a network in which every flow bound is whole, so an optimum is whole too.)
    """
    import numpy as np
    from scipy.optimize import linear_sum_assignment

    if not stays:
        return []
    places = sorted({place for costs in moved for place in costs})
    columns: list[str | None] = []
    for place in places:
        wanted = sum(place in costs for costs in moved)
        room = rooms.get(place, 0)
        columns += [place] * (wanted if room is None else min(room, wanted))
    spots = len(columns)
    bound = sum(limited)
    cost = np.full((len(stays), spots + len(stays)), np.inf)
    first = {place: columns.index(place) for place in places if place in columns}
    ends = {place: first[place] + columns.count(place) for place in first}
    for row, costs in enumerate(moved):
        for place, value in costs.items():
            if place in first:
                cost[row, first[place] : ends[place]] = value
    held, stay = np.array(limited, dtype=bool), np.array(stays, dtype=float)
    cost[held, spots : spots + bound] = stay[held, None]
    cost[~held, spots + bound :] = stay[~held, None]
    must_stay = max(0, bound - most)
    cost[held, spots : spots + must_stay] -= 4.0 * len(stays) + 1.0  # outweighs all that the others could save
    _, chosen = linear_sum_assignment(cost)
    return [columns[column] if column < spots else None for column in chosen]
