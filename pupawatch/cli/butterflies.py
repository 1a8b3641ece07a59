"""The commands about what came out: watch, adults, health, marking, release and the data sheet."""

import argparse
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from pupawatch.care import adults, health
from pupawatch.care.adults import Butterfly, Watch, Weather
from pupawatch.errors import NotUnderstood
from pupawatch.keeper import Keeper
from pupawatch.model.entries import Cleaned
from pupawatch.model.settings import Settings
from pupawatch.model.times import Span, iso, parse_span, shown_time
from pupawatch.words.adults import adult_line, unreleased_words
from pupawatch.words.pupae import entry_words

Say = Callable[[str], None]


def watch(keeper: Keeper, moment: datetime | None, say: Say) -> dict[str, Any]:
    """Tell the watch, and give its record for other programs."""
    now, settings = moment or keeper.clock(), keeper.settings
    seen = adults.watch(keeper.state_at(moment) if moment else keeper.state, now, settings)
    for butterfly in seen.fresh:
        say(adult_line(butterfly, now))
        if butterfly.alarm:
            for step in (*settings.care.floor.steps, *settings.care.floor.cautions):
                say(f"     {step}")
    for coming in seen.coming:
        climb = "" if coming.can_climb else "; its adult cannot climb there: bring a climb to it"
        say(f"{coming.stage.upper():<10} {coming.pupa.label:<8} in {coming.pupa.place}{climb}")
    if not seen.fresh and not seen.coming:
        say("Nothing emerges this morning, as far as anybody has seen.")
    return watch_record(seen, settings)


def watch_record(seen: Watch, settings: Settings) -> dict[str, Any]:
    """The record of ``watch --json``."""
    return {
        "as_of": iso(seen.now),
        "fresh": [butterfly_record(butterfly, seen.now, settings) for butterfly in seen.fresh],
        "coming": [
            {"label": c.pupa.label, "stage": c.stage, "place": c.pupa.place, "can_climb": c.can_climb}
            for c in seen.coming
        ],
    }


def butterfly_record(butterfly: Butterfly, now: datetime, settings: Settings) -> dict[str, Any]:
    """One adult: when it came out, its clocks, what it waits for."""
    pupa, clocks = butterfly.pupa, butterfly.clocks
    assert pupa.emerged is not None
    at_least, at_most = adults.age_hours(pupa, now)
    return {
        "label": pupa.label,
        "species": pupa.species,
        "place": pupa.place,
        "emerged": {"from": iso(pupa.emerged.earliest), "by": iso(pupa.emerged.happened)},
        "hours": {"at_least": round(at_least, 2), "at_most": round(at_most, 2)},
        "phase": butterfly.phase,
        "alarm": butterfly.alarm,
        "do": butterfly.do,
        "hang_by": iso(clocks.hang_by),
        "wings_full": _span_record(clocks.wings_full),
        "hard": _span_record(clocks.hard),
        "judge_from": iso(clocks.judge_from),
        "handle_from": iso(clocks.handle_from),
        "mark_from": iso(clocks.mark_from),
        "release_from": iso(clocks.release_from),
        "sex": pupa.sex or None,
        "wings": pupa.wings.condition if pupa.wings else None,
        "mark": pupa.marked.code if pupa.marked else None,
        "origin": pupa.origin or None,
        "kept": pupa.kept.place if pupa.kept else None,
        "fell_and_recovered": adults.recovered(pupa, settings),
        "findings": [{"sign": f.sign, "text": f.text, "load": f.load, "seen": iso(f.happened)} for f in pupa.findings],
    }


def living(keeper: Keeper, moment: datetime | None, weather: Weather, say: Say, every: bool) -> dict[str, Any]:
    """Tell the living adults with the advice on letting each fly, and give the record for other programs.

    every: also those that emerged long ago and of which nobody recorded an end; else only how many they are.
    """
    now, settings = moment or keeper.clock(), keeper.settings
    here = adults.living(keeper.state_at(moment) if moment else keeper.state, now, settings)
    older = keeper.adults.unreleased(moment)
    here += [adults.butterfly(pupa, now, settings) for pupa in older if every]
    records = []
    for butterfly in here:
        advice = adults.release_advice(butterfly.pupa, now, weather, settings)
        say(adult_line(butterfly, now))
        if butterfly.phase == "ready":
            say(f"     {adults.advice_words(advice, settings.zone, now)}")
        when = iso(advice.when) if advice.when else None
        release = {"now": advice.now, "against": advice.against, "when": when, "notes": advice.notes}
        records.append({**butterfly_record(butterfly, now, settings), "release": release})
    marks = [mark for mark in keeper.adults.marks_of_season(now) if mark.happened <= now]
    next_mark = adults.next_code(marks, settings)
    if next_mark:
        say(f"Next mark: {next_mark}")
    if older and not every:
        say(f"{unreleased_words(len(older))}: adults --all")
    say(settings.care.release.cautions[0] if here else "No butterflies in your care.")
    return {"as_of": iso(now), "adults": records, "next_mark": next_mark or None, "unreleased": len(older)}


def look_at(keeper: Keeper, label: str, moment: datetime | None, say: Say) -> dict[str, Any]:
    """Tell which signs to look for on one individual now, and what was found."""
    pupa = keeper.pupa(label, moment)
    words, now = keeper.settings.health, moment or keeper.clock()
    stage = health.stage_of(pupa, now, keeper.settings)
    signs = health.signs_at(stage, words)
    say(f"{pupa.label} ({stage}). Look in good light; which of these do you see?")
    for name, sign in signs.items():
        say(f"  {name:<12} {sign.words}")
    for finding in pupa.findings:
        say(f"  found {shown_time(finding.happened, keeper.settings.zone, now)}: {entry_words(finding)}")
    say(f"Write down: pupawatch finding {pupa.label} SIGN. {words.disclaimer}")
    asked = {name: {"words": s.words, "grade": s.grade, "means": s.means, "do": s.do} for name, s in signs.items()}
    found = [{"sign": f.sign, "text": f.text, "load": f.load, "seen": iso(f.happened)} for f in pupa.findings]
    return {"as_of": iso(now), "label": pupa.label, "stage": stage, "signs": asked, "findings": found}


def overview(keeper: Keeper, moment: datetime | None, say: Say) -> dict[str, Any]:
    """Tell what should be set apart, what is (which is a setting, as it is now), and what was cleaned."""
    now, settings = moment or keeper.clock(), keeper.settings
    state = keeper.state_at(moment) if moment else keeper.state
    proposals = [p for pupa in state.pupae.values() if (p := health.proposal(pupa, state, settings)) is not None]
    for proposal in proposals:
        done = " (in quarantine)" if settings.place(proposal.place).quarantined else ""
        say(f"{proposal.place}{done}: {proposal.why}; next to it: {', '.join(proposal.next_to) or 'nothing'}")
    apart = [place.name for place in settings.places if place.quarantined]
    say(f"In quarantine: {', '.join(apart) or 'nothing'}.")
    cleanings = [entry for entry in keeper.places.cleanings() if entry.happened <= now]
    for entry in cleanings:
        say(f"{shown_time(entry.happened, settings.zone, now):<17} {entry.place}: {entry_words(entry)}")
    for cleaning in settings.health.cleanings.values():
        say(f"{cleaning.words}: {health.recipe(cleaning)}")
    for caution in (*settings.health.cautions, settings.health.disclaimer):
        say(f"! {caution}")
    return {
        "as_of": iso(now),
        "proposals": [
            {"place": p.place, "beside": [b.label for b in p.beside], "next_to": p.next_to, "why": p.why}
            for p in proposals
        ],
        "quarantined": apart,
        "cleanings": [_cleaned_record(entry, settings) for entry in cleanings],
    }


def finding(keeper: Keeper, options: argparse.Namespace, when: Span | None) -> Any:
    """Write down what a second look showed; a spore count is put into its class."""
    load = options.load
    if options.spores is not None:
        if options.spores < 0:
            raise NotUnderstood("A count of spores cannot be below nothing.")
        load = health.spore_class(options.spores, keeper.settings.health)
    return keeper.adults.check_health(options.label, options.signs, options.text, load, when)


def quarantine(keeper: Keeper, place: str, begin: bool) -> Any:
    """Set a place apart, or end that."""
    if not keeper.settings.knows_place(place):
        raise NotUnderstood(f"There is no described place “{place}”; describe it first with `pupawatch place`.")
    return keeper.places.quarantine([place], begin)


def sheet(keeper: Keeper, options: argparse.Namespace, moment: datetime | None, say: Say) -> Any:
    """Print or write the data sheet."""
    from pupawatch.exchange import sheet as sheets

    now, zone = moment or keeper.clock(), keeper.settings.zone
    since = _day(options.since, zone, now) or date(adults.season(now, keeper.settings), 1, 1)
    until = _day(options.until, zone, now) or now.astimezone(ZoneInfo(zone)).date()
    if since > until:
        raise NotUnderstood(f"The sheet would begin on {since}, after its end on {until}; give the earlier day first.")
    columns = [column.strip() for column in options.columns.split(",") if column.strip()]
    rows = sheets.table(keeper.whole_state(moment).pupae.values(), keeper.settings, since, until, columns)
    if options.file:
        path: Path = options.file
        sheets.write(rows, path, f"Butterflies, {since} to {until}")
        say(f"{len(rows) - 1} butterflies from {since} to {until} written to {path}.")
    else:
        for line in sheets.as_text(rows).splitlines():
            say(line)
    names = columns or list(keeper.settings.keeper.sheet.columns)
    listed = [dict(zip(names, row, strict=True)) for row in rows[1:]]
    return {"as_of": iso(now), "from": since.isoformat(), "to": until.isoformat(), "rows": listed}


def _day(text: str | None, zone: str, now: datetime) -> date | None:
    if text is None:
        return None
    span = parse_span(text, zone, now)
    return (span.since or span.until).astimezone(ZoneInfo(zone)).date()


def _span_record(span: Span) -> dict[str, str | None]:
    return {"from": iso(span.since) if span.since else None, "by": iso(span.until)}


def _cleaned_record(entry: Cleaned, settings: Settings) -> dict[str, Any]:
    enough = health.cleaned_enough(entry, settings.health)
    return {
        "place": entry.place, "how": entry.how, "minutes": entry.minutes, "long_enough": enough,
        "cleaned": iso(entry.happened),
    }  # fmt: skip
