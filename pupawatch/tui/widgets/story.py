"""The story of what is selected: what is known of it, what to do and why, and all that was recorded."""

from collections.abc import Callable, Iterator
from datetime import datetime

from textual.content import Content

from pupawatch.care.forecast.ahead import last_good_day_to_move
from pupawatch.care.picture import too_warm
from pupawatch.care.proposals import frees_words
from pupawatch.care.round import Round, Standing, Stretch
from pupawatch.care.spots import shortfalls
from pupawatch.model.settings import Advice, Method, Place, Profile, Settings
from pupawatch.model.text import shown
from pupawatch.model.times import shown_time
from pupawatch.tui.look import ADVICE, CALM, HEAD
from pupawatch.tui.widgets.shelf import Row
from pupawatch.words.entries import entry_time, entry_words
from pupawatch.words.flags import flag_lines
from pupawatch.words.forecast import alive_words, odds_words, outlook_notes, signs_to_check
from pupawatch.words.hours import hang_words
from pupawatch.words.moves import PROTECTION_FAILS
from pupawatch.words.places import room_words
from pupawatch.words.pupae import advice_of, formed_words, to_do

WELCOME = Content.from_text(
    "Welcome to pupawatch.\n\n"
    "No pupae recorded yet. Press n: it asks for your first place (a cage roof, a jar, a line …), then "
    "for the first pupa in it.\n\n"
    "If you have kept a table of past pupae (CSV or a spreadsheet), press I and name its file.\n\n"
    "Keeping, moving, marking and releasing butterflies is regulated in places. Your local rules come first.",
    markup=False,
)


def story(row: Row | None, morning: Round, settings: Settings) -> Content:
    """What stands beside (or below) the shelf for this row."""
    if row is None:
        return WELCOME
    if row.stretch is None:
        return _text("Deal with these first: in danger, about to emerge where they cannot climb, or out unseen.")
    if row.standing is None:
        return _of_place(row.stretch, morning, settings)
    return _of_pupa(row.standing, morning, settings)


def _of_pupa(standing: Standing, morning: Round, settings: Settings) -> Content:
    pupa, verdict = standing.pupa, standing.verdict
    zone, now = settings.zone, morning.now
    profile = settings.profile(pupa.species)
    advice = advice_of(standing, settings)
    sign = settings.care.stages[standing.stage].sign
    hangs = "Hangs" if pupa.is_open else "Hung"
    lines = [
        Content.assemble((shown(pupa.label), "bold"), (f"  {profile.name}, {shown(pupa.place)}", CALM)),
        Content(""),
        Content.assemble((f" {advice.sign} {advice.word} ", ADVICE[verdict.kind]), f"  {shown(verdict.why)}."),
        Content.assemble("→ ", (shown(to_do(standing, now, zone)), "bold")),
    ]
    if standing.decision and not standing.decision.is_left:
        why = standing.decision.why.removeprefix(f"{verdict.why}; ")  # which stands above already
        lines.append(_text(f"  {why}.", CALM))
    elif standing.unsafe:
        lines.append(_text(f"  {pupa.place} {'; '.join(standing.unsafe)}.", CALM))
    lines += [_text(f"! {line}", "$text-warning") for line in flag_lines(standing, settings)]
    if pupa.is_open and (do := list(_what_to_do(standing, settings))):
        lines += [*_part("Do"), *do]
    lines += [
        *_part("Known"),
        _text(f"{_sentence(formed_words(standing, now, zone))}."),
        *_outlook(standing, settings, now),
        _text(f"{hangs} {hang_words(standing.hang)}; {sign} {standing.stage}{_looks(profile, standing.stage)}."),
        *_part("History"),
    ]
    lines += [
        Content.assemble(
            (f"{entry_time(entry, zone, now):<16} ", CALM),
            shown(entry_words(entry, settings.unit)) + (" (notebook)" if entry.history else ""),
        )
        for entry in reversed(pupa.entries)
    ]
    return Content("\n").join(lines)


def _what_to_do(standing: Standing, settings: Settings) -> Iterator[Content]:
    """The steps and cautions: those against what threatens it, or else those of its advice."""
    advice = advice_of(standing, settings)
    for way in standing.ways:
        yield _text(f"{_sentence(way.words)}:", "bold")
        yield from _steps(way)
    if standing.protection:
        yield _text(PROTECTION_FAILS)
    if standing.verdict.kind != "rescue":
        yield from _steps(advice)


def _steps(way: Method | Advice) -> Iterator[Content]:
    yield from (_text(f"! {caution}", "$text-warning") for caution in way.cautions)
    yield from (_text(f"{number}. {step}") for number, step in enumerate(way.steps, start=1))


def _outlook(standing: Standing, settings: Settings, now: datetime) -> list[Content]:
    """What the forecast says, with its reasons; where it is overdue, the signs to check."""
    outlook, zone = standing.outlook, settings.zone
    if outlook is None:
        return []
    last = last_good_day_to_move(outlook, settings.profile(standing.pupa.species), zone)
    told = odds_words(outlook, now, zone)
    if last is not None and standing.verdict.kind in ("wait", "care", "free"):
        told += f" Last good day to move it: {last:%a} {last.day}."
    notes, signs = f"({'; '.join(outlook_notes(outlook, settings.unit))})", signs_to_check(outlook)
    doubt = alive_words(standing.alive)
    dead = [_text(f"! {_sentence(doubt)}.", "$text-warning")] if doubt and "dark-too-long" not in standing.flags else []
    return [_text(told, "bold"), *dead, *(_text(f"? {sign}") for sign in signs), _text(notes, CALM)]


_APART: tuple[tuple[Callable[[Place], bool], str], ...] = (
    (lambda place: place.quarantined, "is in quarantine: nothing goes in or out until it is cleaned"),
    (lambda place: place.isolation, "is an isolation place: hang the sick here, and nothing healthy"),
)


def _of_place(stretch: Stretch, morning: Round, settings: Settings) -> Content:
    place = stretch.place
    living = [standing for standing in stretch.standings if standing.pupa.is_living]
    profile = settings.species[settings.keeper.species]
    faults = [*too_warm(stretch.picture, profile, settings), *shortfalls(place, profile, settings)]
    surface = settings.care.surfaces.get(place.surface)
    apart = [f"It {words}." for holds, words in _APART if holds(place)]
    lines = [
        Content.assemble((shown(place.name), "bold"), f"  {surface.words if surface else shown(place.surface)}"),
        *([_text(f"► It {stretch.heat}.", ADVICE["sick"])] if stretch.heat else []),
        _text(f"{len(living)} living, {room_words(stretch.picture)}."),
        *(_text(f"! {line}", "$text-warning") for line in apart),
        *(_text(f"{line}.") for line in frees_words([stretch.picture])),
        _text(f"Not safe to emerge here: {'; '.join(faults)}." if faults else "Safe to emerge here."),
        _text(
            f"Last visited {shown_time(stretch.looked, settings.zone, morning.now)}."
            if stretch.looked
            else "Never visited yet: press space when you have, so the next pupa's age is known."
        ),
    ]
    if not settings.knows_place(place.name):
        lines.append(_text("! This place has no description yet; press p to add one.", "$text-warning"))
    return Content("\n").join(lines)


def _part(name: str) -> list[Content]:
    """The small heading of a part of the story, with a free line above it."""
    return [Content(""), Content.styled(name.upper(), HEAD)]


def _text(text: str, style: str = "") -> Content:
    return Content.styled(shown(text), style) if style else Content(shown(text))


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _looks(profile: Profile, stage: str) -> str:
    return f": {profile.looks[stage]}" if stage in profile.looks else ""
