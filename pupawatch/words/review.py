"""What the season taught, in sentences: each is made from a computed result and carries its numbers and its doubt.

Where nothing can be said there is no sentence.
"""

from statistics import median
from typing import NamedTuple
from zoneinfo import ZoneInfo

from pupawatch.model.settings import Settings
from pupawatch.model.text import counted
from pupawatch.review import fair
from pupawatch.review.compare import CERTAIN, ORDERED, Contest, Family, Ranking, Shift
from pupawatch.review.factors import FACTORS, Season, understood
from pupawatch.review.outcomes import Counts, Rate, percent
from pupawatch.review.page import ALL, Page

CONFOUNDED = (
    "Which pupae you move is not left to chance: those in trouble or in bad places are moved more often, and those "
    "lost early never get a move. So this shows what goes together with moving, not what moving causes."
)
"""What must stand beside every comparison of moved with not moved."""

_FEWEST_BROODS = 6
_LEFT_OPEN = "What else differed between them is not known."
_MOST_SENTENCES = 5
_MOST_GROUPS = 2


class Sentence(NamedTuple):
    """One sentence for the keeper. about: the question it answers; claims: whether it says that something differs."""

    about: str
    words: str
    claims: bool = False


class Said(NamedTuple):
    """A page of review in words.

    title: what is reviewed. sentences: what your records show. notes: what must be read beside the rates: the order
    they stand in, the bounds, and which groups are too small. warning: the sentence about confounding, where the page
    asks about moving and no sentence says it, else "". losses: what the lost ones were lost to. published: rates of
    others, as context.
    """

    title: str
    sentences: list[Sentence]
    notes: list[str]
    warning: str
    losses: str
    published: list[str]


def said(page: Page) -> Said:
    """What is to be said of a page."""
    told = sentences(page.season, page.by, page.family)
    warned = not page.asks_about_moves or any(CONFOUNDED in sentence.words for sentence in told)
    return Said(
        _title(page),
        told,
        _notes(page),
        "" if warned else CONFOUNDED,
        ", ".join(f"{cause.replace('-', ' ')} {number}" for cause, number in page.total.causes.items()),
        published(page.season.settings),
    )


def sentences(season: Season, by: str, family: Family) -> list[Sentence]:
    """Up to five sentences, the most useful first; none where too few outcomes are known."""
    total = fair.ended(season).total()
    if total.success.n < season.settings.care.review.smallest_group:
        return []
    said = [_overall(total, len(season.pupae) - total.formed)]
    for factor in understood(by):
        if factor != "moved":
            said += _by_group([contest for contest in family.contests if contest.about == factor], family)
    said += [_moved(contest, family) for contest in family.contests if contest.about == "moved"]
    said += [_hang(shift, family) for shift in family.shifts if shift.about == "hang"]
    said += [_week(shift, family) for shift in family.shifts if shift.about == "week" and shift.certain]
    said += _losses(total)
    # What was found comes before what could not be, and the whole before everything.
    said[1:] = sorted(said[1:], key=lambda sentence: not sentence.claims)
    return said[:_MOST_SENTENCES]


def published(settings: Settings) -> list[str]:
    """Published rates with n, interval and source: context, never a target."""
    return [
        f"{known.words} {of_n(Rate(known.hits, known.n))}. {known.source}."
        for known in settings.care.review.published.values()
    ]


def too_few(groups: dict[str, Rate], smallest: int) -> str:
    """Which groups are too small to say anything about, "" where none is."""
    if not groups:
        return ""
    named = ", ".join(f"{group} ({rate.n})" for group, rate in groups.items())
    return f"Too few to tell (under {smallest} known outcomes): {named}."


def of_n(rate: Rate) -> str:
    """A rate in words: ``45 of 48 (94 %, 95 % interval 83 to 98 %)``."""
    if rate.value is None or rate.interval is None:
        return "no data"
    low, high = rate.interval
    if 0 < len(rate.families) < _FEWEST_BROODS:
        few = counted(len(rate.families), "brood", "broods")
        return f"{rate.hits} of {rate.n} ({percent(rate.value)}; {few}, too few to tell)"
    return f"{rate.hits} of {rate.n} ({percent(rate.value)}, 95 % interval {100 * low:.0f} to {100 * high:.0f} %)"


def p_words(p: float) -> str:
    """A p-value to two digits: ``p = 0.21``, ``p < 0.0001``."""
    return "p < 0.0001" if p < 0.0001 else f"p = {p:.2g}"


def points(fraction: float) -> str:
    """A difference in percentage points with its sign: ``+12``, ``−3``."""
    whole = round(100 * fraction)
    return f"{'−' if whole < 0 else '+' if whole > 0 else ''}{abs(whole)}"


def _title(page: Page) -> str:
    asked = " and ".join(FACTORS[name][0] for name in understood(page.by))
    filters = "".join(f", only {factor} {group}" for factor, group in page.only.items())
    day = page.now.astimezone(ZoneInfo(page.season.settings.zone))
    pupae = counted(len(page.season.pupae), "pupa", "pupae")
    return f"What your records show, by {asked}: {pupae} up to {day.day} {day:%B %Y}{filters}"


def _notes(page: Page) -> list[str]:
    notes = []
    if len(page.ranking.standings) > 1 and page.by not in ORDERED:
        notes.append(_order(page.ranking))
    unknown = {group: c.success for group, c in (page.groups | {ALL: page.total}).items() if c.unknown}
    if unknown:
        bounds = ", ".join(f"{group} {percent(r.worst)} to {percent(r.best)}" for group, r in unknown.items())
        notes.append(f"Rates if every unknown outcome was bad, or good: {bounds}.")
    small = too_few(page.ranking.too_few, page.season.settings.care.review.smallest_group)
    return [*notes, small] if small else notes


def _order(ranking: Ranking) -> str:
    prior = ranking.prior
    source = "learned from your own groups" if prior.fitted else "your own rate over all groups"
    estimates = ", ".join(f"{standing.group} {percent(standing.estimate)}" for standing in ranking.standings)
    return (
        f"Ranked by estimates that draw each rate towards {percent(prior.mean)} with the weight "
        f"of {prior.weight:.0f} pupae ({source}), so that small lucky groups do not lead: {estimates}."
    )


def _overall(total: Counts, younger: int) -> Sentence:
    words = f"Of the pupae whose outcome is known, {of_n(total.success)} emerged with sound wings."
    left = [f"{younger} are too young to tell"] if younger else []
    left += [f"{total.pending} are overdue"] if total.pending else []
    if left:
        words = f"{words[:-1]}; not counted yet: {', '.join(left)}."
    worst, best = total.success.worst, total.success.best
    if total.unknown and worst is not None and best is not None:
        words += (
            f" {total.unknown} more emerged and their wings were never judged: the rate is {percent(worst)} if all of "
            f"those were bad, {percent(best)} if all were sound."
        )
    return Sentence("all", words)


def _by_group(asked: list[Contest], family: Family) -> list[Sentence]:
    certain = sorted((contest for contest in asked if contest.certain), key=lambda contest: contest.p)
    if certain:
        return [_differs(contest, family) for contest in certain[:_MOST_GROUPS]]
    if not asked:
        return []
    clearest = min(asked, key=lambda contest: (contest.alone_p, contest.p))
    return [Sentence(clearest.about, _unclear(clearest, family))]


def _unclear(contest: Contest, family: Family) -> str:
    """That no difference can be told, and why it may look like one."""
    seen = f"{contest.group} {_against(contest)} for {contest.other} ({_interval(contest)}; {_doubt(contest, family)})"
    asked = max(1, family.size)
    if contest.together_p * asked < CERTAIN:
        table = "; ".join(
            f"{name}: {pair.hits} of {pair.n} against {pair.other_hits} of {pair.other_n}"
            for name, pair in zip(contest.names, contest.strata, strict=True)
        )
        return (
            f"By {contest.about} no clear difference: taken together, {seen} looks like one, but it vanishes where "
            f"like is compared with like ({table})."
        )
    if contest.alone_p * asked < CERTAIN:
        return (
            f"By {contest.about} no clear difference: {seen}. These may be single families: {_families(contest)}, and "
            "brood mates share their fate."
        )
    missed = f"with these numbers a difference under {100 * contest.missed_under:.0f} points would usually be missed"
    return f"By {contest.about} no clear difference: the clearest is {seen}; {missed}."


def _differs(contest: Contest, family: Family) -> Sentence:
    better = "better" if contest.difference.value > 0 else "worse"
    return Sentence(
        contest.about,
        f"{contest.group} did {better} than {contest.other}: {_against(contest)} ({_interval(contest)}; "
        f"{_doubt(contest, family)}; {_families(contest)}). {_LEFT_OPEN}",
        claims=True,
    )


def _moved(contest: Contest, family: Family) -> Sentence:
    within = (
        f"among those alive at one age, within each surface and season {_interval(contest)}; "
        f"{_doubt(contest, family)}; {_families(contest)}"
    )
    if contest.certain:
        better = "better" if contest.difference.value > 0 else "worse"
        words = (
            f"Pupae moved as planned did {better} than those not moved: {_against(contest)} ({within}). {CONFOUNDED}"
        )
        return Sentence("moved", words, claims=True)
    missed = f"a difference under {100 * contest.missed_under:.0f} points would usually be missed"
    return Sentence(
        "moved",
        f"Whether planned moves helped or harmed is not clear: moved {_against(contest)} not moved ({within}); "
        f"{missed}.",
    )


def _families(contest: Contest) -> str:
    mine, others = contest.families
    return f"{counted(mine, 'family', 'families')} against {others}"


def _hang(shift: Shift, family: Family) -> Sentence:
    bad, good = median(shift.bad), median(shift.good)
    counts = (
        f"the {len(shift.bad)} with deformed wings had hung at least {bad:.0f} h when first moved (median), "
        f"the {len(shift.good)} sound ones {good:.0f} h ({_doubt(shift, family)})"
    )
    if not shift.certain:
        return Sentence("hang", f"Whether earlier moves harm wings is not clear: {counts}.")
    when = "Earlier" if bad < good else "Later"
    return Sentence("hang", f"{when} moves went with deformed wings: {counts}.", claims=True)


def _week(shift: Shift, family: Family) -> Sentence:
    when = "earlier" if median(shift.bad) < median(shift.good) else "later"
    return Sentence(
        "week",
        f"Pupae that pupated {when} did worse: median day {median(shift.bad):.0f} of the "
        f"{len(shift.bad)} deformed or lost, day {median(shift.good):.0f} of the {len(shift.good)} sound "
        f"({_doubt(shift, family)}).",
        claims=True,
    )


def _losses(total: Counts) -> list[Sentence]:
    named = [(number, cause) for cause, number in total.causes.items() if cause != "unknown"]
    if not named or named[0][0] < 2 or named[0][0] == (named[1][0] if len(named) > 1 else 0):
        return []
    number, cause = named[0]
    ended = Rate(number, total.emerged + total.lost)
    return [
        Sentence(
            "losses",
            f"Of {total.lost} lost, the most frequent known cause: {cause.replace('-', ' ')}, {of_n(ended)} "
            "of all that emerged or were lost.",
        )
    ]


def _against(contest: Contest) -> str:
    mine, theirs = contest.rate, contest.other_rate
    return f"{mine.hits} of {mine.n} sound against {theirs.hits} of {theirs.n}"


def _interval(contest: Contest) -> str:
    value, low, high = contest.difference
    return f"{points(value)} points, 95 % interval {points(low)} to {points(high)}"


def _doubt(question: Contest | Shift, family: Family) -> str:
    """How easily chance would give as much, all the page's questions weighed together."""
    asked = f" over all {family.size} questions" if family.size > 1 else ""
    return p_words(question.corrected) + asked
