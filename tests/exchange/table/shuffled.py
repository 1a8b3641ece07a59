"""Tables shuffled in order, format and words, with what they mean: a reading may ask or refuse, but never be wrong.

The truth is drawn first and written down in one of many ways, so it owes nothing to the reading.
"""

import csv
import io
from collections.abc import Callable, Iterable
from datetime import date, timedelta
from random import Random
from typing import NamedTuple

from pupawatch.exchange.table.bringing import Table
from pupawatch.model.pupa import Pupa
from pupawatch.model.times import local_day

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
FORMATS: dict[str, tuple[Callable[[date], str], str]] = {
    "d/m/Y": (lambda d: f"{d.day:02}/{d.month:02}/{d.year}", "day-first"),
    "d.m.y": (lambda d: f"{d.day}.{d.month}.{d.year % 100:02}", "day-first"),
    "m/d/Y": (lambda d: f"{d.month}/{d.day}/{d.year}", "month-first"),
    "m-d-y": (lambda d: f"{d.month:02}-{d.day:02}-{d.year % 100:02}", "month-first"),
    "y-m-d": (lambda d: f"{d.year % 100:02}-{d.month:02}-{d.day:02}", "year-first"),
    "iso": (lambda d: d.isoformat(), ""),
    "Y/m/d": (lambda d: f"{d.year}/{d.month}/{d.day}", ""),
    "d mon Y": (lambda d: f"{d.day} {_MONTHS[d.month - 1]} {d.year}", ""),
    "mon d, Y": (lambda d: f"{_MONTHS[d.month - 1]} {d.day}, {d.year}", ""),
    "d-mon-y": (lambda d: f"{d.day}-{_MONTHS[d.month - 1]}-{d.year % 100:02}", ""),
}
"""How a date may be written, and the answer where its order is asked."""

HEADINGS = {
    "label": ("No.", "Nr", "Pupa", "Name", "ID", "chrysalis id", "#"),
    "formed": ("Pupated", "Date formed", "PUPATION DATE", "formed", "Day pupated"),
    "emerged": ("Eclosed", "emerged", "Date emerged", "Hatched", "Came out"),
    "released_at": ("Released", "Date released", "let go"),
    "wings": ("Wings", "Wing condition", "wing"),
    "sex": ("Sex", "M/F", "gender"),
    "site": ("Where", "Location", "Place", "cage"),
}
WINGS = {
    "sound": ("ok", "Good", "PERFECT", "sound", "y"),
    "creased": ("bent", "Bent L", "creased", "folded"),
    "crumpled": ("deformed", "Crumpled", "curled"),
    "unexpanded": ("pads", "unexpanded"),
    "": ("", "?", "n/a"),
}
SEXES = {"female": ("f", "F", "female"), "male": ("m", "M", "Male"), "": ("", "-")}
NOISE = {"Weather": ("rain", "sun", ""), "Fed on": ("fennel", "rue")}


class Shuffled(NamedTuple):
    """A table as text; the answers that its keeper would give; what must result for each label."""

    text: str
    order: dict[str, str]
    truth: dict[str, tuple[str, ...]]


def shuffled(seed: int) -> Shuffled:
    """A table drawn from a seed."""
    random = Random(seed)
    form, answer = FORMATS[random.choice(list(FORMATS))]
    other = random.random() < 0.15  # one column in a way of its own
    odd, odd_answer = FORMATS[random.choice(list(FORMATS))] if other else (form, answer)
    headings = {field: random.choice(words) for field, words in HEADINGS.items()}
    columns = ["label", "formed", *(field for field in list(HEADINGS)[2:] if random.random() < 0.8)]
    noise = [name for name in NOISE if random.random() < 0.4]
    season = date(random.choice((2022, 2024, 2025)), random.randint(3, 9), random.randint(1, 28))
    rows, truth = [], {}
    for index in range(random.randint(1, 9)):
        label = random.choice(("", "A", "m-")) + str(index + 1)
        formed = season + timedelta(days=random.randint(0, 20))
        emerged = formed + timedelta(days=random.randint(8, 15))
        released = emerged + timedelta(days=random.randint(1, 3))
        wings, sex = random.choice(list(WINGS)), random.choice(list(SEXES))
        site = random.choice(("Roof", "Jar", "Attic window"))
        cells = {
            "label": label, "formed": form(formed), "emerged": odd(emerged), "released_at": form(released),
            "wings": random.choice(WINGS[wings]), "sex": random.choice(SEXES[sex]), "site": site,
        } | {name: random.choice(NOISE[name]) for name in noise}  # fmt: skip
        rows.append(cells)
        told = {"formed": formed.isoformat(), "emerged": emerged.isoformat(), "released_at": released.isoformat(),
                "wings": wings, "sex": sex, "site": site}  # fmt: skip
        truth[label] = tuple(
            value if field in columns else {"site": "unknown place"}.get(field, "") for field, value in told.items()
        )
    columns += noise
    random.shuffle(columns)
    text = io.StringIO()
    writer = csv.writer(text, delimiter=random.choice(",;\t"))
    if random.random() < 0.3:
        writer.writerow(["Our butterflies"])
    writer.writerow([headings.get(name, name) for name in columns])
    writer.writerows([row[name] for name in columns] for row in rows)
    if random.random() < 0.3:
        writer.writerow(["Total" if name == columns[0] else "" for name in columns])
    return Shuffled(text.getvalue(), {"": answer, headings["emerged"]: odd_answer}, truth)


def answer_all(table: Table, case: Shuffled) -> bool:
    """Answer as its keeper would; whether that was possible. Where two columns are written in two ways each is
    answered for itself by a mapping, which one answer for all cannot do."""
    while found := table.question:
        proposal, question = found
        if question.key[0] != "dates":
            return False
        heading = question.text.split("”", 1)[0].strip("“")
        told = case.order.get(heading, case.order[""])
        if len({one for one in case.order.values() if one}) > 1 or told not in question.answers:
            return False
        table.answer(proposal, question, told)
    return True


def result(pupae: Iterable[Pupa], truth: dict[str, tuple[str, ...]], zone: str) -> dict[str, tuple[str, ...]]:
    """What resulted, by label. Where the table dates no emergence the one that follows from the wings is left out."""
    found = {pupa.label: said(pupa, zone) for pupa in pupae}
    untold = {label for label, told in truth.items() if not told[1]}
    return {label: (told[0], "", *told[2:]) if label in untold else told for label, told in found.items()}


def said(pupa: Pupa, zone: str) -> tuple[str, ...]:
    """What resulted for a pupa, in the order of the truth."""

    def day(entry: object) -> str:
        since = getattr(entry, "since", None)
        return local_day(since, zone).isoformat() if since else ""

    formed = local_day(pupa.formed_from, zone).isoformat() if pupa.formed_from else ""
    wings = pupa.wings.condition if pupa.wings else ""
    return formed, day(pupa.emerged), day(pupa.released), wings, pupa.sex, pupa.site
