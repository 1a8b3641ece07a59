"""What each command of the command line does: ask the keeper, print the answer."""

import argparse
import json
import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

from pupawatch import settings as files
from pupawatch.care import round as rounds
from pupawatch.errors import NotUnderstood
from pupawatch.journal import file as journals
from pupawatch.journal import leftovers
from pupawatch.journal.address import default_path, real
from pupawatch.keeper import Keeper
from pupawatch.keeper.drafts import Done
from pupawatch.model.text import shown
from pupawatch.model.times import Span, parse_span, shown_time
from pupawatch.words import forecast as forecast_words
from pupawatch.words import pupae as words


def run(options: argparse.Namespace) -> int:
    """Run the command that was typed and return its exit code."""
    if options.command in (None, "demo"):
        _need_a_terminal()
    if options.command == "demo":
        return _demo()
    folder: Path | None = getattr(options, "config", None)
    path = real(getattr(options, "journal", None) or default_path())
    if options.command == "restore":
        return int(keeping().restore(options.file, path, _say, options.yes))
    if options.command == "check":
        return int(keeping().check(path, folder, _say))
    settings = files.load(folder)
    journal = journals.Journal(path)
    try:
        if options.command is not None or not journal.is_large:  # the dashboard of a large one looks while it is open
            journal.verify()
        keeper = Keeper(journal, settings, folder=folder)
        code = _dashboard(keeper) if options.command is None else _COMMANDS[options.command](keeper, options)
        if options.command not in (None, "check"):
            _warn(keeper.left_out())
        return code
    finally:
        journal.close()


# -- the dashboard


def _need_a_terminal() -> None:
    """Raise NotUnderstood where nobody could see the dashboard, or press a key."""
    if not all(stream is not None and stream.isatty() for stream in (sys.stdin, sys.stdout, sys.stderr)):
        raise NotUnderstood("The dashboard needs a terminal; `pupawatch today` prints this morning's work anywhere.")


def _dashboard(keeper: Keeper) -> int:
    from pupawatch.tui.app import open_dashboard

    return open_dashboard(keeper)


def _demo() -> int:
    from pupawatch.demo import demo_keeper

    with leftovers.folder() as folder:
        keeper = demo_keeper(folder)
        try:
            return _dashboard(keeper)
        finally:
            keeper.journal.close()  # or some systems would not let go of the folder


# -- reading


def _today(keeper: Keeper, options: argparse.Namespace) -> int:
    from pupawatch.keeper.outlook import Outlooks

    moment = _as_of(keeper, options)
    now, state, outlooks = moment or keeper.clock(), _state(keeper, moment), Outlooks(keeper)
    heat, records_of = outlooks.heat_warnings(state, now), keeper.moves.place_records(moment)
    morning = rounds.walk(state, now, keeper.settings, outlooks.of(state, now), records_of, heat)
    _warn(outlooks.problem)
    standings = sorted(morning.standings, key=lambda standing: standing.urgency)
    if options.json:
        return _print_json(records().pupae_record(now, standings))
    zone = keeper.settings.zone
    _say(f"{shown_time(now, zone)}: {rounds.headline(morning)}; {rounds.unwalked_words(morning)}.")
    for warning in forecast_words.heat_lines(heat):
        _say(f"! {warning}")
    for line in forecast_words.watch_lines(standings, now, zone):
        _say(line)
    quiet = 0
    for standing in standings:
        calm = not (standing.needs_something or standing.flags or forecast_words.is_late(standing.outlook))
        if calm and standing.verdict.kind != "wait":
            quiet += 1
            continue
        _say(_line(keeper, standing, now))
        if standing.needs_something and standing.suggestion:
            _say(f"     {standing.suggestion.why}")
        for flag in standing.flags:
            _say(f"     ! {flag_words(flag)}")
    if quiet:
        _say(f"{quiet} more hang well: leave them in peace.")
    return 0


def _pupae(keeper: Keeper, options: argparse.Namespace) -> int:
    from pupawatch.keeper.outlook import Outlooks

    moment = _as_of(keeper, options)
    state = keeper.whole_state(moment) if options.all else _state(keeper, moment)
    now = moment or keeper.clock()
    outlooks = Outlooks(keeper)
    scene = rounds.Scene.of(state, now, keeper.settings, outlooks.of(state, now), keeper.moves.place_records(moment))
    _warn(outlooks.problem)
    pupae = sorted(state.pupae.values(), key=lambda p: p.entries[0].happened) if options.all else state.open_pupae()
    standings = [rounds.standing(pupa, scene) for pupa in pupae]
    if options.json:
        return _print_json(records().pupae_record(now, standings))
    for standing in standings:
        _say(_line(keeper, standing, now))
    if not standings:
        _say("No pupae yet. The first one: pupawatch found P1 --place NAME")
    return 0


def _history(keeper: Keeper, options: argparse.Namespace) -> int:
    moment = _as_of(keeper, options)
    pupa = keeper.pupa(options.label, moment)
    now = moment or keeper.clock()
    if options.json:
        record = {"as_of": records().iso(now), "label": pupa.label, "flags": pupa.flags}
        return _print_json({**record, "entries": [records().entry_record(entry) for entry in pupa.entries]})
    standing = rounds.standing(
        pupa, rounds.Scene.of(_state(keeper, moment), now, keeper.settings, records=keeper.moves.place_records(moment))
    )
    zone = keeper.settings.zone
    _say(f"{pupa.label}, {keeper.settings.profile(pupa.species).name}: {words.formed_words(standing, now, zone)}.")
    _say(f"{standing.verdict.kind.upper()}: {standing.verdict.why}.")
    for entry in pupa.entries:
        early = "  (from a notebook)" if entry.history else ""
        _say(f"  {words.entry_time(entry, zone, now):<42} {words.entry_words(entry, keeper.settings.unit)}{early}")
    for flag in standing.flags:
        _say(f"  ! {flag_words(flag)}")
    return 0


def _places(keeper: Keeper, options: argparse.Namespace) -> int:
    morning = _morning(keeper, options)
    if options.json:
        climbable = {s.place.name: keeper.settings.climbable(s.place) for s in morning.stretches}
        return _print_json(records().places_record(morning, climbable))
    for stretch in morning.stretches:
        place = stretch.place
        room = "no limit" if stretch.room is None else f"room for {stretch.room} more"
        climb = "climbable" if keeper.settings.climbable(place) else "cannot be climbed"
        looked = shown_time(stretch.looked, keeper.settings.zone, morning.now) if stretch.looked else "never"
        living = sum(1 for standing in stretch.standings if standing.pupa.is_living)
        _say(f"{place.name:<24} {place.surface:<9} {climb:<18} {living:>3} living, {room:<17} looked over {looked}")
    if not morning.stretches:
        _say("No places yet. The first one: pupawatch place 'Cage roof' --surface mesh --capacity 12")
    return 0


# -- recording


def _place(keeper: Keeper, options: argparse.Namespace) -> int:
    from msgspec.structs import replace

    given = {
        "surface": options.surface,
        "capacity": options.capacity,
        "clearance_cm": options.clearance_cm,
        "temperature_c": options.temperature_c,
        "length_cm": options.length_cm,
        "spacing_cm": options.spacing_cm,
        "disturbed": "" if options.disturbed == "no" else options.disturbed,
    }
    for name in ("climbable", "retired", "drip", "sun"):
        answer = getattr(options, name)
        given[name] = None if answer is None else answer == "yes"
    changes = {name: value for name, value in given.items() if value is not None}
    return _done(keeper.places.describe(replace(keeper.settings.place_like(options.name), **changes)))


def _recorded(act: Callable[[Keeper, argparse.Namespace, Span | None], Done]) -> Callable[[Keeper, Any], int]:
    def command(keeper: Keeper, options: argparse.Namespace) -> int:
        return _done(act(keeper, options, _when(keeper, options)))

    return command


# -- what came out


def _health(keeper: Keeper, options: argparse.Namespace) -> int:
    def told(say: Callable[[str], None]) -> Any:
        moment, about = _as_of(keeper, options), about_adults()
        if options.label:
            return about.look_at(keeper, options.label, moment, say)
        return about.overview(keeper, moment, say)

    return _answered(options, told)


def _answered(options: argparse.Namespace, tell: Callable[[Callable[[str], None]], Any]) -> int:
    """Print what ``tell`` says line by line, or with --json only the record it gives."""
    record = tell((lambda _: None) if options.json else _say)
    return _print_json(record) if options.json else 0


def _weather(options: argparse.Namespace) -> Any:
    from pupawatch.care.adults import Weather

    return Weather(options.temperature_c, options.sky)


_COMMANDS: dict[str, Callable[[Keeper, argparse.Namespace], int]] = {
    "today": _today,
    "pupae": _pupae,
    "history": _history,
    "places": _places,
    "place": _place,
    "found": _recorded(lambda k, o, when: k.pupae.found(o.label, o.place, o.species, when, o.prepupa)),
    "looked": _recorded(lambda k, o, when: k.places.looked(o.places, when)),
    "saw": _recorded(lambda k, o, when: k.pupae.saw(o.label, o.stage, when)),
    "fell": _recorded(lambda k, o, when: k.pupae.fell(o.label, o.danger, when)),
    "move": _recorded(lambda k, o, when: k.moves.move(o.label, o.to, o.method, o.emergency, when, o.reason)),
    "held": _recorded(lambda k, o, when: k.moves.held(o.label, o.held == "yes", when)),
    "climb": _recorded(lambda k, o, when: k.moves.climb(o.label, when)),
    "plan": lambda k, o: _answered(o, lambda say: about_moves().plan(k, _as_of(k, o), say)),
    "moves": lambda k, o: _answered(
        o, lambda say: about_moves().moves(k, _as_of(k, o), o.place, o.method, o.early, o.emergency, say)
    ),
    "emerged": _recorded(lambda k, o, when: k.pupae.emerged(o.label, o.place, when)),
    "wings": _recorded(lambda k, o, when: k.pupae.wings(o.label, o.condition, when)),
    "lost": _recorded(lambda k, o, when: k.pupae.lost(o.label, o.cause, when)),
    "relabel": _recorded(lambda k, o, when: k.pupae.relabel(o.label, o.new, when)),
    "note": _recorded(lambda k, o, when: k.pupae.note(o.label, " ".join(o.text), when)),
    "measured": lambda k, o: _done(about_seasons().measured(k, o)),
    "forecast": lambda k, o: _answered(
        o,
        lambda say: (
            about_seasons().score(k, o.labels, _as_of(k, o), say)
            if o.score
            else about_seasons().forecast(k, o.labels, _as_of(k, o), say)
        ),
    ),
    "review": lambda k, o: _answered(o, lambda say: about_seasons().review(k, o, _as_of(k, o), say)),
    "watch": lambda k, o: _answered(o, lambda say: about_adults().watch(k, _as_of(k, o), say)),
    "adults": lambda k, o: _answered(o, lambda say: about_adults().living(k, _as_of(k, o), _weather(o), say, o.all)),
    "adult": _recorded(lambda k, o, when: k.adults.seen(o.label, o.what, when)),
    "sex": _recorded(lambda k, o, when: k.adults.sexed(o.label, o.sex, when)),
    "origin": _recorded(lambda k, o, when: k.adults.came_from(o.label, o.origin, when)),
    "mark": _recorded(lambda k, o, when: k.adults.mark(o.label, o.code, o.sex, o.origin, when)),
    "release": _recorded(lambda k, o, when: k.adults.release(o.label, o.place, o.kept, _weather(o), when)),
    "health": _health,
    "finding": _recorded(lambda k, o, when: about_adults().finding(k, o, when)),
    "cleaned": _recorded(lambda k, o, when: k.places.cleaned(o.place, o.how, o.minutes, when)),
    "quarantine": lambda k, o: _done(about_adults().quarantine(k, o.place, not o.end)),
    "sheet": lambda k, o: _answered(o, lambda say: about_adults().sheet(k, o, _as_of(k, o), say)),
    "undo": lambda k, o: _done(k.undo_act(o.act) if o.act else k.undo_of_today()),
    "redo": lambda k, _: _done(k.redo_of_today()),
    "import": lambda k, o: keeping().bring(k, o, _say),
    "export": lambda k, o: keeping().export(k, o, _say),
    "backup": lambda k, o: keeping().copy_of(k, o, _say),
    "merge": lambda k, o: keeping().merge(k, o, _say),
}


# -- shared


def records() -> Any:
    """The records for other programs, loaded where they are asked for."""
    from pupawatch.exchange import records as module

    return module


def keeping() -> Any:
    """The commands that keep a journal, loaded where they are asked for."""
    from pupawatch.cli import files as module

    return module


def about_adults() -> Any:
    """The commands about what came out, loaded where they are asked for."""
    from pupawatch.cli import butterflies as module

    return module


def about_seasons() -> Any:
    """The commands about the days ahead and the seasons behind, loaded where they are asked for."""
    from pupawatch.cli import seasons as module

    return module


def about_moves() -> Any:
    """The commands about where pupae hang, loaded where they are asked for."""
    from pupawatch.cli import moves as module

    return module


def flag_words(flag: str) -> str:
    """A flag in words."""
    from pupawatch.model.flags import WORDS

    return WORDS[flag]


def _line(keeper: Keeper, standing: rounds.Standing, now: datetime) -> str:
    advice = keeper.settings.care.advice[standing.verdict.kind]
    pupa = standing.pupa
    name = f"{advice.sign} {advice.word:<7}{pupa.label:<8} {pupa.place:<22} {words.hang_words(standing.hang):>10}"
    return f"{name}  {standing.stage:<10}{words.to_do(standing, now, keeper.settings.zone)}"


def _morning(keeper: Keeper, options: argparse.Namespace) -> rounds.Round:
    moment = _as_of(keeper, options)
    records = keeper.moves.place_records(moment)
    return rounds.walk(_state(keeper, moment), moment or keeper.clock(), keeper.settings, records=records)


def _state(keeper: Keeper, moment: datetime | None) -> Any:
    return keeper.state_at(moment) if moment else keeper.state


def _as_of(keeper: Keeper, options: argparse.Namespace) -> datetime | None:
    if options.as_of is None:
        return None
    return parse_span(options.as_of, keeper.settings.zone, keeper.clock()).until


def _when(keeper: Keeper, options: argparse.Namespace) -> Span | None:
    """The time that was typed. A day that is not over yet ends now."""
    now, zone = keeper.clock(), keeper.settings.zone

    def understood(text: str) -> Span:
        since, until = parse_span(text, zone, now)
        return Span(since, now if since is not None and since <= now < until else until)

    if options.at is not None:
        return understood(options.at)
    if options.between is not None:
        first, second = (understood(text) for text in options.between)
        return Span(first.since, second.until)
    return None


def _done(done: Done) -> int:
    _say(done.words)
    for warning in done.warnings:
        _warn(warning)
    return 0


def _warn(words: str) -> None:
    """Tell what the keeper should know beside the answer; nothing where there is nothing to tell."""
    if words:
        print(f"note: {shown(words)}", file=sys.stderr)


def _say(line: str) -> None:
    print(shown(line))


def _print_json(record: Any) -> int:
    print(json.dumps(record, ensure_ascii=True, indent=2))
    return 0
