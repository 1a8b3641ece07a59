"""The places: what each is like, to add and to edit."""

from collections.abc import Callable
from typing import ClassVar, TypeVar

from msgspec.structs import replace
from rich.cells import cell_len, set_cell_size
from textual.binding import BindingType
from textual.content import Content

from pupawatch.care.picture import Known, Picture
from pupawatch.care.proposals import frees_words
from pupawatch.care.round import NOTHING_KNOWN, Stretch, walk
from pupawatch.care.spots import shortfalls
from pupawatch.errors import NotUnderstood
from pupawatch.keeper import Keeper, weather
from pupawatch.keeper.conditions import lately
from pupawatch.keeper.drafts import Done
from pupawatch.model.degrees import degrees, typed_degrees
from pupawatch.model.settings import Place, Settings
from pupawatch.model.text import shown
from pupawatch.model.times import local_day
from pupawatch.model.typed_times import parse_day
from pupawatch.tui.acts import bindings, first_key
from pupawatch.tui.look import ADVICE, CALM
from pupawatch.tui.screens.dialogs import Field, Form
from pupawatch.tui.screens.listing import Item, ListScreen

T = TypeVar("T")
_NAME_CELLS = 24


class PlacesScreen(ListScreen):
    """Every place in walking order. Enter edits."""

    SCREEN = "places"
    BINDINGS: ClassVar[list[BindingType]] = bindings(SCREEN)

    def __init__(self, keeper: Keeper, known: Known = NOTHING_KNOWN) -> None:
        """known: what was worked out elsewhere, for the room of the coming days."""
        super().__init__(keeper)
        self.known = known
        self.picture: Picture | None = None
        self.stretches: dict[str, Stretch] = {}

    def items(self) -> list[Item]:
        settings = self.keeper.settings
        morning = walk(self.keeper.state, self.keeper.clock(), settings, self.known)
        self.picture = morning.picture
        self.stretches = stretches = {stretch.place.name: stretch for stretch in morning.stretches}
        places = [*settings.places, *(s.place for name, s in stretches.items() if not settings.knows_place(name))]
        cells = max((cell_len(shown(place.name)) for place in places), default=0)
        items = []
        for place in places:
            stretch = stretches.get(place.name)
            living = sum(1 for s in stretch.standings if s.pupa.is_living) if stretch else 0
            line = _line(place, cells, living, stretch.room if stretch else None, settings)
            items.append(Item(f"place:{place.name}", line, place))
        return items

    def headline(self) -> str:
        return "Places: in walking order"

    def tell(self, item: Item | None) -> Content:
        """What hangs in the selected place, its room on the coming days, and how emergences went there."""
        if item is None or not isinstance(item.about, Place):
            key = first_key(self.keeper.settings.keys, "new_place")
            return Content(f"No place yet: press {key} to describe the first one.")
        name = item.about.name
        lines = place_lines(self.stretches.get(name), name, self.keeper, self.picture)
        kept = Content.styled(shown(f"kept in {self.keeper.places.file}"), CALM)
        return Content("\n").join(
            [Content.styled(shown(name), "bold"), *(Content(shown(line)) for line in lines), kept]
        )

    def open(self, item: Item) -> None:
        """Enter: edit the place."""
        self.action_edit()

    def _place(self) -> str:
        return self.item.about.name if self.item is not None and isinstance(self.item.about, Place) else ""

    def action_later(self) -> None:
        self._walk(1)

    def action_earlier(self) -> None:
        self._walk(-1)

    def _walk(self, step: int) -> None:
        """Walk past the selected place earlier or later."""
        if name := self._place():
            at = [item.key for item in self.listed].index(f"place:{name}")
            if self.attempt(lambda: self.keeper.places.walk(name, at + step)) is not None:
                self.refill()

    def action_new_place(self) -> None:
        self.app.push_screen(place_form(self.keeper, None), self._described)

    def action_edit(self) -> None:
        if name := self._place():
            self.app.push_screen(place_form(self.keeper, name), self.kept)

    def action_thermometer(self) -> None:
        """Write down what the thermometer of the selected place says."""
        if name := self._place():
            self.app.push_screen(thermometer_form(self.keeper, name), self.kept)

    def action_weather(self) -> None:
        """Type in what is expected of the coming days."""
        self.app.push_screen(weather_form(self.keeper), self.kept)

    def _described(self, done: Done | None) -> None:
        self.kept(done)
        if done is not None:  # the cursor is on the place that was added, where the next act belongs
            self.go_to(f"place:{done.about}")


def place_lines(stretch: Stretch | None, name: str, keeper: Keeper, picture: Picture | None = None) -> list[str]:
    """What is to be told of a place, a line each."""
    record = keeper.moves.place_records().get(name)
    told = f"{record.n - record.bad} of {record.n} went well" if record else "none recorded yet"
    lines = [f"Emergences in {name}: {told}.", f"Temperature: {lately(keeper, name, keeper.clock())}"]
    if stretch is None:
        return lines
    living = [standing for standing in stretch.standings if standing.pupa.is_living]
    lines.append(f"Hanging there: {', '.join(s.pupa.label for s in living) or 'nothing'}.")
    now = stretch.picture
    if now.dries:
        lines.append(f"Butterflies there: {', '.join(pupa.label for pupa in now.dries)}.")
    if now.room is not None and now.rooms is not None and picture is not None:
        days = [local_day(at, keeper.settings.zone) for at in picture.mornings[1:]]
        coming = ", ".join(f"{at:%a} {at.day}: {max(0, room)}" for at, room in zip(days, now.rooms[1:], strict=False))
        lines.append(f"Room today {now.room}; on the coming mornings, {coming}.")
    return [*lines, *(f"{told}." for told in frees_words([now]))]


def place_form(keeper: Keeper, name: str | None) -> Form:
    """A form for a new place, or for the one of that name."""
    settings = keeper.settings
    place = settings.place(name) if name else Place(name="new", surface="mesh")
    surfaces, unit, kept = list(settings.care.surfaces), settings.unit, place.temperature_c
    kept_words = "" if kept is None else degrees(kept, unit)
    fields = [
        *([] if name else [Field("name", "Name", hint="as you call it: Cage roof, Jar 2, Line")]),
        Field("surface", "Surface", place.surface, known=surfaces, one_of=True),
        Field("capacity", "Capacity, pupae", _number(place.capacity), "no limit"),
        Field("along", "Or length and spacing, cm (120 / 8)", _along(place), "capacity alone"),
        Field("clearance_cm", "Clear height below a pupa, cm", _number(place.clearance_cm), "not measured"),
        Field("climbable", "Can a butterfly climb there? (yes, no)", _yes_no(place.climbable), "by its surface",
              ("yes", "no"), one_of=True),
        Field("temperature", f"Usual temperature, °{unit}", kept_words, "not known"),
        Field("trouble", "Dangers (drip, sun, ants, a cat …)", _trouble(place), "nothing"),
        Field("isolation", "Isolation place, for the sick alone? (yes, no)", "yes" if place.isolation else "no",
              known=("yes", "no"), one_of=True),
        Field("retired", "Retired? (yes, no)", "yes" if place.retired else "no", known=("yes", "no"),
              one_of=True),
    ]  # fmt: skip

    def warmth(text: str) -> float | None:
        if text == kept_words:  # what was only rounded to be shown stays what it is
            return kept
        return typed_degrees(text, unit) if text else None

    def keep(values: dict[str, str]) -> Done:
        length_cm, spacing_cm = _read_along(values)
        troubles = [word.strip() for word in values["trouble"].split(",") if word.strip()]
        described = replace(
            place,
            name=name or values["name"].strip(),
            length_cm=length_cm,
            spacing_cm=spacing_cm,
            drip="drip" in troubles,
            sun="sun" in troubles,
            disturbed=", ".join(word for word in troubles if word not in ("drip", "sun")),
            surface=values["surface"].strip().lower(),
            capacity=_read(values, "capacity", int, "a whole number"),
            clearance_cm=_read(values, "clearance_cm", float, "a number of centimetres"),
            climbable=_read(values, "climbable", _truth, "yes or no"),
            temperature_c=warmth(values["temperature"].strip()),
            isolation=bool(_read(values, "isolation", _truth, "yes or no")),
            retired=bool(_read(values, "retired", _truth, "yes or no")),
        )
        if not name and settings.knows_place(described.name):
            raise NotUnderstood(f"There is a place called {described.name} already; give the new one its own name.")
        return keeper.places.describe(described)

    return Form(f"Place: {name}" if name else "A new place", fields, keep)


def thermometer_form(keeper: Keeper, place: str) -> Form:
    """A form for the lowest and highest temperature of a day."""
    unit, zone = keeper.settings.unit, keeper.settings.zone
    today = local_day(keeper.clock(), zone)
    fields = [
        Field("low", f"Lowest, °{unit}"),
        Field("high", f"Highest, °{unit}"),
        Field("day", "Day", today.isoformat()),
    ]

    def keep(values: dict[str, str]) -> Done:
        low_c, high_c = (typed_degrees(values[end], unit) for end in ("low", "high"))
        return keeper.temperatures.measured(place, low_c, high_c, parse_day(values["day"], zone, keeper.clock()))

    return Form(f"Thermometer in {place}", fields, keep)


def weather_form(keeper: Keeper) -> Form:
    """A form for the lowest and highest expected of the coming days."""
    hint = "tomorrow first, as in 8 19 9 22"
    fields = [Field("days", f"Lowest and highest of each day, °{keeper.settings.unit}", "", hint)]
    return Form("Expected outdoors", fields, lambda values: weather.expect(keeper, values["days"].split()))


def _line(place: Place, cells: int, living: int, room: int | None, settings: Settings) -> Content:
    left = "no limit" if room is None else f"room for {room}" if room else "full"
    apart = " · in quarantine" if place.quarantined else " · isolation" if place.isolation else ""
    faults = shortfalls(place, settings.profile(settings.keeper.species), settings)
    state = "retired" if place.retired else "✗ " + faults[0].split(" (")[0] if faults else "✓ safe"
    name = set_cell_size(shown(place.name), min(cells, _NAME_CELLS))
    style = CALM if place.retired else ADVICE["soon" if faults else "free"]
    return Content.assemble(
        (f" {name} ", CALM if place.retired else "bold"),
        (f"{shown(place.surface):<9} {living:>3} living  {left:<11} ", CALM),
        (state, style),
        (apart, ADVICE["sick"]),
    )


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _along(place: Place) -> str:
    return " / ".join(_number(cm) for cm in (place.length_cm, place.spacing_cm) if cm is not None)


def _read_along(values: dict[str, str]) -> tuple[float | None, float | None]:
    length, _, spacing = values["along"].partition("/")
    parts = {"along": length, "apart": spacing}
    length_cm, spacing_cm = (_read(parts, part, float, "a number of centimetres") for part in ("along", "apart"))
    if spacing_cm is not None and length_cm is None:
        raise NotUnderstood("length and spacing: type the length before the /, as in 120 / 8")
    return length_cm, spacing_cm


def _trouble(place: Place) -> str:
    told = ("drip" if place.drip else "", "sun" if place.sun else "", place.disturbed)
    return ", ".join(word for word in told if word)


def _yes_no(value: bool | None) -> str:
    return "" if value is None else "yes" if value else "no"


def _truth(text: str) -> bool:
    return {"yes": True, "no": False}[text.lower()]


def _read(values: dict[str, str], name: str, kind: Callable[[str], T], allowed: str) -> T | None:
    text = values[name].strip().replace(",", ".")
    if not text:
        return None
    try:
        return kind(text)
    except (ValueError, KeyError):
        raise NotUnderstood(f"{name}: {text[:30]!r} is not {allowed}") from None
