"""Write season.csv and temperatures.csv of an invented keeper beside this script: ``python examples/make_season.py``.

Two finished summers come from a small simulation: weather, two looks a day that turn every moment into an interval,
places that differ in what they do to a pupa, and a keeper who moves some, now and then too early, and forgets to
write things down. The living pupae of the morning of 2026-09-08, 06:40, are written by hand: each shows something.
All of it is invented; only the heat needs are near those of real pupae. The same bytes come out on every machine:
chance is drawn through ``random()`` alone, whose sequence Python promises to keep.
"""

import csv
import io
import tomllib
from bisect import bisect_left, bisect_right
from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from itertools import accumulate
from math import cos, pi
from pathlib import Path
from random import Random
from typing import NamedTuple

COLUMNS = (
    "label", "species", "site", "formed_from", "formed_to", "stage", "stage_seen_at", "fell_at", "moved_to",
    "moved_at", "move_method", "move_reason", "emerged_from", "emerged_to", "emerged_place", "wings", "sex", "loss",
    "loss_at", "mark", "marked_at", "released_at", "brood", "note",
)  # fmt: skip

Rows = list[dict[str, str]]
HERE = Path(__file__).parent
SEED = 20260990
LAST_READING = datetime(2026, 9, 8, 6)
DAY, HOUR, MINUTE = timedelta(days=1), timedelta(hours=1), timedelta(minutes=1)


class Hazards(NamedTuple):
    """How likely a pupa of these summers formed in a place, would fall there, or come out with bad wings."""

    share: float
    fall: float
    bad_wings: float


# The places of places.toml, in its order.
ROOF, SIDE, SHELF, POT, LEAF, STEM, JAR, TANK, LOW, LINE, CHAMBER, HAMPER = (
    place["name"] for place in tomllib.loads((HERE / "places.toml").read_text("utf-8"))["places"]
)
PLACES = {
    ROOF: Hazards(0.23, 0.02, 0.05),
    SIDE: Hazards(0.14, 0.02, 0.05),
    POT: Hazards(0.10, 0.05, 0.08),
    LEAF: Hazards(0.10, 0.20, 0.20),
    STEM: Hazards(0.13, 0.22, 0.32),
    JAR: Hazards(0.11, 0.14, 0.40),
    TANK: Hazards(0.10, 0.12, 0.40),
    LOW: Hazards(0.04, 0.03, 0.15),
    HAMPER: Hazards(0.05, 0.03, 0.07),
    LINE: Hazards(0, 0.03, 0.05),
    CHAMBER: Hazards(0, 0.01, 0.04),
}
SPECIES = {"monarch": 0.76, "painted-lady": 0.14, "black-swallowtail": 0.10}
HEAT = {"monarch": (11.5, 128), "painted-lady": (10, 115), "black-swallowtail": (10, 175)}  # °C, °C·d above it
SHORT = {"monarch": "m", "painted-lady": "l", "black-swallowtail": "s"}
SPOTS = {LINE: 0.4, CHAMBER: 0.4, SIDE: 0.2}
METHODS = {"silk": 0.5, "tie": 0.25, "whole": 0.2, "glue": 0.05}
EMERGENCIES = {"support-failing": 0.4, "wet": 0.2, "predator": 0.2, "crushing": 0.1, "heat": 0.1}
LOSSES = {"disease": 0.25, "parasitoid": 0.2, "vanished": 0.2, "unknown": 0.2, "stuck": 0.1, "dried": 0.05}
WINGS = {"creased": 0.35, "crumpled": 0.45, "unexpanded": 0.2}
NOTES = {"gold dots very bright": 1, "tape print: clean": 2, "leaf beside it wilted, cut it away": 1}

MONTH_MEANS_C = {5: 18, 6: 22, 7: 25.5, 8: 24.5, 9: 21, 10: 15}
FLIGHTS = {  # the first and last day on which the pupae of a flight form, and how many there are
    "25-A": (date(2025, 6, 10), date(2025, 6, 30), 30),
    "25-B": (date(2025, 7, 8), date(2025, 7, 30), 42),
    "25-C": (date(2025, 8, 10), date(2025, 9, 4), 38),
    "26-A": (date(2026, 6, 6), date(2026, 6, 26), 36),
    "26-B": (date(2026, 7, 4), date(2026, 7, 24), 46),
    "26-C": (date(2026, 7, 30), date(2026, 8, 17), 46),
}


class Chance(Random):
    """Seeded chance that draws from ``random()`` only."""

    def happens(self, probability: float) -> bool:
        return self.random() < probability

    def within(self, low: float, high: float) -> float:
        return low + (high - low) * self.random()

    def one_of(self, weights: Mapping[str, float]) -> str:
        ends = list(accumulate(weights.values()))
        return list(weights)[bisect_right(ends, self.random() * ends[-1], hi=len(ends) - 1)]


def at(moment: datetime) -> str:
    return moment.isoformat(timespec="minutes")


def put(rows: Rows, **cells: str) -> None:
    """Write cells into the first row of a pupa where all of them are free, else into a further row."""
    row = next((row for row in rows if not row.keys() & cells.keys()), None)
    if row is None:
        rows.append(row := {"label": rows[0]["label"]})
    row.update(cells)


class Summer:
    """One simulated year: its weather and looks from May to October, its marks, and its keeper's habits."""

    def __init__(self, chance: Chance, year: int, colour: str, diligence: float) -> None:
        """colour: of that year's marks. diligence: share of the pupae in poor places that the keeper moves."""
        self.chance, self.colour, self.diligence, self.marked = chance, colour, diligence, 0
        self.means_c: dict[date, float] = {}
        self.looks: list[datetime] = []
        spell = 0.0
        for number in range(184):
            day = date(year, 5, 1) + number * DAY
            spell = 0.7 * spell + chance.within(-2.8, 2.8)
            self.means_c[day] = MONTH_MEANS_C[day.month] + spell
            for usual in (time(6, 30), time(19, 0)):
                if chance.happens(0.95):
                    self.looks.append(datetime.combine(day, usual) + 5 * MINUTE * int(chance.within(-3, 4)))

    def around(self, moment: datetime) -> tuple[datetime, datetime]:
        """The last look before a moment, and the first look after it."""
        index = bisect_left(self.looks, moment)
        return self.looks[index - 1], self.looks[index]

    def emergence(self, formed: datetime, base_c: float, heat: float) -> datetime:
        """In the morning after the heat need is met, a few later in the day."""
        day, left = formed, heat * self.chance.within(0.9, 1.1)
        while left > 0:
            left -= max(0.0, min(33.0, self.means_c[day.date()]) - base_c)
            day += DAY
        hour = self.chance.within(5, 7) + (self.chance.within(0, 8) if self.chance.happens(0.25) else 0)
        return datetime.combine(day, time()) + int(hour * 60) * MINUTE

    def pupa(self, label: str, species: str, site: str, formed: datetime) -> Rows:
        """The story of one pupa as the keeper wrote it down."""
        chance = self.chance
        rows: Rows = [{"label": label, "species": species, "site": site}]
        certain = self.formation(rows, *self.around(formed))
        emerges = self.emergence(formed, *HEAT[species])
        place, poor, early = site, PLACES[site].bad_wings > 0.1, False
        urgent = chance.happens(0.10 if poor else 0.02)
        if urgent or chance.happens(self.diligence if poor else 0.08):
            hasty = chance.happens(0.13)
            hours = chance.within(2, 80) if urgent else chance.within(1, 16) if hasty else chance.within(25, 90)
            moved = self.around(certain + hours * HOUR)[1] + 10 * MINUTE
            early = not urgent and moved < certain + DAY
            place = self.move(rows, place, moved, chance.one_of(EMERGENCIES) if urgent else "")
            if chance.happens(0.1):
                place = self.move(rows, place, self.around(moved + DAY)[1], "")
        fell = chance.happens(PLACES[place].fall)
        if fell:
            fallen = self.around(emerges - chance.within(12, 40) * HOUR)[1]
            put(rows, fell_at=at(fallen))
            if chance.happens(0.75):
                place = self.move(rows, place, fallen + 15 * MINUTE, "fallen")
        if chance.happens(0.35):
            dark = self.around(emerges - chance.within(20, 44) * HOUR)[0]
            put(rows, stage="darkening", stage_seen_at=at(dark))
        if chance.happens(0.08 + 0.2 * fell + 0.25 * early):
            put(rows, loss="fall" if fell else "injury" if early else chance.one_of(LOSSES))
            if chance.happens(0.5) or rows[0].keys() & {"stage", "fell_at", "moved_at"}:  # else nobody knows when
                rows[0]["loss_at"] = at(self.around(emerges + DAY)[1])
        else:
            bad = PLACES[place].bad_wings + 0.3 * fell + 0.2 * early
            self.adult(rows, place, emerges, chance.one_of(WINGS) if chance.happens(bad) else "sound")
        if chance.happens(0.12):
            put(rows, note=chance.one_of(NOTES))
        return rows

    def formation(self, rows: Rows, since: datetime, until: datetime) -> datetime:
        """Write down between which looks it formed, some of it or only days; returns when it had for certain."""
        style = self.chance.one_of({"both": 0.72, "end": 0.12, "days": 0.10, "day": 0.06})
        if style in ("both", "days"):
            rows[0]["formed_from"] = at(since) if style == "both" else f"{since:%Y-%m-%d}"
        rows[0]["formed_to"] = at(until) if style in ("both", "end") else f"{until:%Y-%m-%d}"
        return until if style in ("both", "end") else datetime.combine(until + DAY, time())

    def move(self, rows: Rows, place: str, moved: datetime, emergency: str) -> str:
        """Write a move to another good spot down, and return that spot."""
        to = self.chance.one_of({name: share for name, share in SPOTS.items() if name != place})
        method = "prop" if emergency == "fallen" and self.chance.happens(0.6) else self.chance.one_of(METHODS)
        if rows[0]["species"] == "black-swallowtail" and method not in ("prop", "whole"):
            method = "sling"  # a belted pupa is never hung by its tail
        reason = emergency or ("a better spot" if self.chance.happens(0.1) else "")
        put(rows, moved_to=to, moved_at=at(moved), move_method=method, move_reason=reason)
        return to

    def adult(self, rows: Rows, place: str, emerges: datetime, wings: str) -> None:
        """Write down the emergence, wings, sex, mark and release, with gaps."""
        chance, row = self.chance, rows[0]
        since, until = self.around(emerges)
        flies = wings in ("sound", "creased")
        freed = datetime.combine(until + DAY, time(10)) + 5 * MINUTE * int(chance.within(0, 60))
        style = chance.one_of({"looks": 0.7, "watched": 0.12, "end": 0.09, "day": 0.05, "none": 0.04})
        if style == "none" and flies:  # only the release tells that it emerged
            row.update(wings=wings, released_at=at(freed))
            return
        if style == "watched":
            since = until = emerges
        row["emerged_to"] = f"{emerges:%Y-%m-%d}" if style == "day" else at(until)
        if style in ("looks", "watched"):
            row["emerged_from"] = at(since)
        if chance.happens(0.4):
            row["emerged_place"] = place
        if chance.happens(0.93):
            row["wings"] = wings
        if chance.happens(0.75):
            row["sex"] = "female" if chance.happens(0.5) else "male"
        if flies and row["species"] == "monarch" and emerges.month >= 8 and chance.happens(0.8):
            self.marked += 1
            row.update(mark=f"{self.colour}-{self.marked:03}", marked_at=at(freed - HOUR))
        if flies and chance.happens(0.93):
            row["released_at"] = at(freed) if chance.happens(0.8) else f"{freed:%Y-%m-%d}"


def both_summers(chance: Chance) -> dict[str, Summer]:
    """The two years by the number their labels begin with."""
    return {"25": Summer(chance, 2025, "red", 0.35), "26": Summer(chance, 2026, "blue", 0.65)}


def finished(chance: Chance) -> Rows:
    """The rows of the two summers that are over."""
    summers = both_summers(chance)
    rows: Rows = []
    for flight, (first, last, count) in FLIGHTS.items():
        sites = {name: place.share for name, place in PLACES.items() if flight < "26" or name != HAMPER}
        days = (last - first + DAY) / DAY
        moments = sorted(datetime.combine(first, time()) + chance.within(0, days) * DAY for _ in range(count))
        for number, formed in enumerate(moments, start=1):
            species = chance.one_of(SPECIES)
            if species == "black-swallowtail" and formed.month > 7:
                species = "monarch"  # a swallowtail this late would rest until spring
            told = summers[flight[:2]].pupa(f"{flight}{number:02}", species, chance.one_of(sites), formed)
            if number % 9:  # of one in nine nobody wrote down whose eggs it came from
                told[0]["brood"] = f"{flight} {SHORT[species]}{1 + number // 13}"
            rows += told
    return rows


def look(words: str) -> str:
    """``09-07 pm`` as the cell of that look in 2026, ``09-07 07:10`` as that minute, ``09-07`` as that day."""
    return "2026-" + words.replace(" am", "T06:30").replace(" pm", "T19:00").replace(" ", "T")


def case(label: str, site: str, formed: str = "", moves: tuple[str, ...] = (), **told: str) -> Rows:
    """One pupa by hand. formed, out: ``since/by``, or only ``by``; moves: ``place/when/method/reason`` each."""
    rows: Rows = [{"label": label, "species": KINDS[label[0]], "site": site}]
    for column, span in (("formed", formed), ("emerged", told.pop("out", ""))):
        for end, words in zip(("from", "to"), span.rpartition("/")[::2], strict=True):
            if words:
                rows[0][f"{column}_{end}"] = look(words)
    for stage in ("prepupa", "darkening", "clear", "empty"):
        if stage in told:
            put(rows, stage=stage, stage_seen_at=look(told.pop(stage)))
    if "fell" in told:
        put(rows, fell_at=look(told.pop("fell")))
    for move in moves:
        to, when, method, reason = move.split("/")
        put(rows, moved_to=to, moved_at=look(when), move_method=method, move_reason=reason)
    put(rows, **told)
    if label[0] != "S":
        rows[0]["brood"] = "26-D l" if label[0] == "L" else "26-D m1" if int(label[1:]) < 23 else "26-D m2"
    return rows


KINDS = {"M": "monarch", "L": "painted-lady", "S": "black-swallowtail"}

# How things stand on 2026-09-08 at 06:40. M4: out for a day just now. M20: moved twice.
MORNING = [
    case("M1", ROOF, "08-18 am/08-18 pm"),  # three weeks and no colour: overdue
    case("M2", SIDE, "08-22 am/08-22 pm", darkening="09-04 am"),  # dark for four days: look for disease
    case("M3", ROOF, "08-25 am/08-25 pm", out="09-06 am/09-06 pm", wings="sound", sex="female"),  # may fly
    case("M4", TANK, "08-25 pm/08-26 am", (f"{LINE}/08-28 am/silk/",), out="09-06 pm/09-07 am", wings="sound"),
    case("M5", JAR, "08-25 pm/08-26 am", out="09-07 07:10/09-07 07:15", wings="crumpled", note="fell off the lid"),
    case("M6", SIDE, "08-26 am/08-26 pm", out="09-07 am/09-07 pm", sex="male"),  # wings not judged yet
    case("M7", ROOF, "08-26 pm/08-27 am", out="09-07 pm/09-08 06:35"),  # wings still drying
    case("M8", POT, "08-26 am/08-26 pm", empty="09-07 pm"),  # an empty case, and nobody saw the adult
    case("M9", ROOF, "08-27 am/08-27 pm", (f"{CHAMBER}/08-30 am/silk/",), clear="09-07 pm"),  # clear, well hung
    case("M10", TANK, "08-27 am/08-27 pm", darkening="09-06 pm", clear="09-08 am"),  # clear, no climb: bring one
    case("M11", LOW, "08-27 pm/08-28 am", clear="09-08 am"),  # clear, climbable, but too near the floor
    case("M12", STEM, "08-28 am/08-28 pm", (f"{LINE}/08-30 pm/tie/",), darkening="09-07 am"),  # dark, well hung
    case("M13", STEM, "08-28 am/08-28 pm", darkening="09-07 am"),  # dark in a poor place: move it today
    case("M14", ROOF, "08-28 pm/08-29 am", darkening="09-07 pm"),  # dark since last evening, well hung
    case("M15", ROOF, "08-29 am/08-29 pm"),  # firm, well hung: leave it in peace
    case("M17", JAR, "08-29 pm/08-30 am"),  # firm, on smooth plastic: move it
    case("M18", SIDE, "08-30/08-30"),  # only the day is known
    case("M19", LEAF, "08-30 am/08-30 pm"),  # firm, on a leaf that may drop
    case("M20", STEM, "08-30 am/08-30 pm", (f"{SIDE}/09-02 am/whole/", f"{CHAMBER}/09-05 am/silk/a better spot")),
    case("M21", POT, "08-30 pm/08-31 am", note="spun up on the pot's own stem"),  # firm, well hung
    case("M22", LOW, "08-31 am/08-31 pm"),  # firm and climbable, yet too little room below
    case("M23", JAR, "08-31 pm/09-01 am", fell="09-07 pm"),  # fell last evening, not yet rescued
    case("M24", ROOF, "09-01 am"),  # nobody knows since when it hung at most
    case("M25", JAR, "09-01 am/09-01 pm", (f"{LINE}/09-04 am/tie/",)),  # moved in good time
    case("M26", LEAF, "09-02 am/09-02 pm", (f"{LINE}/09-03 am/silk/",)),  # moved early
    case("M27", STEM, "09-02 pm/09-03 am", (f"{CHAMBER}/09-03 pm/whole/wet",)),  # soft too, but an emergency
    case("M28", ROOF, "09-03 am/09-03 pm"),  # firm, well hung
    case("M29", TANK, "09-03 am/09-03 pm"),  # firm, on glass
    case("M31", STEM, "09-04 am/09-04 pm"),  # firm, on a stem that wilts
    case("M32", ROOF, "09-04 pm/09-05 am"),  # firm, well hung
    case("M33", SHELF, "09-05 am/09-05 pm"),  # kept cold: past two days, and still to be moved with care
    case("M34", ROOF, "09-05 pm/09-06 am"),  # firm since ten minutes ago
    case("M35", ROOF, "09-06 am/09-06 pm"),  # one day and a half, well hung
    case("M36", TANK, "09-06 am/09-06 pm"),  # one day and a half, on glass: move with care
    case("M37", LEAF, "09-06 pm"),  # the same on a leaf, found after nobody knows how long
    case("M38", SHELF, "09-06 am/09-06 pm"),  # the same kept cold: still too soft
    case("M39", ROOF, "09-06 pm/09-07 am"),  # soft no longer, since ten minutes ago
    case("M40", ROOF, "09-07 am/09-07 pm"),  # found last evening: touch nothing
    case("M41", STEM, "09-07 am/09-07 pm", fell="09-08 am"),  # fell this morning, and soft
    case("M42", SIDE, "09-07 pm"),  # found last evening, in a corner not looked at for days
    case("M43", ROOF, "09-07 pm/09-08 am"),  # found this morning
    case("M44", ROOF, prepupa="09-07 pm"),  # hanging caterpillars
    case("M45", STEM, prepupa="09-08 am"),  # one of them on a stem that wilts
    case("L1", SIDE, "08-28 am/08-28 pm", out="09-07 pm/09-08 06:35"),  # wings still drying
    case("L2", SIDE, "08-28 pm/08-29 am", clear="09-08 am"),  # clear, well hung
    case("L3", JAR, "08-29 am/08-29 pm", darkening="09-07 pm"),  # dark, on smooth plastic
    case("L5", LEAF, "09-05 pm/09-06 pm"),  # a look was missed: a whole day of doubt
    case("L6", SIDE, prepupa="09-08 am"),  # a hanging caterpillar
    case("S1", SIDE, "07-30 pm/07-31 am", note="brown, may rest until spring"),  # five weeks: not overdue
    case("S2", POT, "09-03 am/09-03 pm"),  # formed late: may rest until spring too
    case("S3", SIDE, "09-07 am/09-07 pm"),  # found last evening
]  # fmt: skip


def season_csv() -> str:
    """The whole notebook, the same at every call."""
    out = io.StringIO()
    table = csv.DictWriter(out, COLUMNS, restval="", lineterminator="\n")
    table.writeheader()
    table.writerows(finished(Chance(SEED)))
    table.writerows(row for rows in MORNING for row in rows)
    return out.getvalue()


def temperatures_csv() -> str:
    """An hourly logger in the keeper's home over the same two summers, up to the morning of the demo.

    Coldest at five, warmest at three in the afternoon. Its battery was flat for a day in August 2026, and one reading
    is that of a probe that came loose.
    """
    chance = Chance(SEED)
    summers, noise = both_summers(chance), Chance(SEED + 1)
    lines = ["Time,Home °C"]
    for summer in summers.values():
        for day, mean_c in summer.means_c.items():
            for hour in range(24):
                moment = datetime.combine(day, time(hour))
                celsius = mean_c - 4 * cos((hour - 3) * pi / 12) + noise.within(-0.4, 0.4)
                if moment > LAST_READING or datetime(2026, 8, 20, 10) <= moment < datetime(2026, 8, 21, 9):
                    continue
                if moment == datetime(2026, 7, 14, 16):
                    celsius = -127.0
                lines.append(f"{at(moment)},{celsius:.1f}")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    (HERE / "temperatures.csv").write_bytes(temperatures_csv().encode())
    (HERE / "season.csv").write_bytes(season_csv().encode())
