"""The places: what each is like, to add and to edit."""

from collections.abc import Callable
from typing import ClassVar, TypeVar

from msgspec.structs import replace
from rich.cells import cell_len, set_cell_size
from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widgets import Footer, Label, OptionList, Static
from textual.widgets.option_list import Option

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
from pupawatch.model.times import local_day, parse_day
from pupawatch.tui.screens.answering import AnsweringScreen
from pupawatch.tui.screens.dialogs import Field, Form

T = TypeVar("T")
_NAME_CELLS = 24


class PlacesScreen(AnsweringScreen):
    """Every place in walking order. Enter edits, n adds."""

    BINDINGS: ClassVar[list[BindingType]] = [
        ("n", "add", "New"),
        ("enter", "edit", "Edit"),
        ("t", "thermometer", "Thermometer"),
        ("w", "weather", "Coming days"),
        ("J", "walk(1)", "Later"),
        ("K", "walk(-1)", "Earlier"),
        ("u", "undo", "Undo"),
        Binding("r,ctrl+r", "redo", "Redo", show=False),
        ("escape,p,q", "dismiss", "Back"),
        ("j", "list('down')", ""),
        ("k", "list('up')", ""),
    ]

    def __init__(self, keeper: Keeper, known: Known = NOTHING_KNOWN) -> None:
        """known: what was worked out elsewhere, for the room of the coming days."""
        super().__init__()
        self.keeper = keeper
        self.known = known
        self.picture: Picture | None = None
        self.names: list[str] = []
        self.stretches: dict[str, Stretch] = {}

    def compose(self) -> ComposeResult:
        yield Label("Places, in the order of the round", classes="title", markup=False)
        yield OptionList(id="places")
        yield Static("", id="told", markup=False)
        yield Static("", id="said", markup=False)
        yield Static(f"enter edits · kept in {shown(str(self.keeper.places.file))}", markup=False, classes="foot")
        yield Footer(compact=True, show_command_palette=False)

    def on_mount(self) -> None:
        self.refill()

    def refill(self) -> None:
        """Show the places as they are now, the cursor where it was."""
        settings = self.keeper.settings
        listed = self.query_one("#places", OptionList)
        at = listed.highlighted or 0
        morning = walk(self.keeper.state, self.keeper.clock(), settings, self.known)
        self.picture = morning.picture
        self.stretches = stretches = {stretch.place.name: stretch for stretch in morning.stretches}
        places = [*settings.places, *(s.place for name, s in stretches.items() if not settings.knows_place(name))]
        self.names = [place.name for place in places]
        listed.clear_options()
        cells = max((cell_len(shown(place.name)) for place in places), default=0)
        for place in places:
            stretch = stretches.get(place.name)
            living = sum(1 for s in stretch.standings if s.pupa.is_living) if stretch else 0
            listed.add_option(Option(_line(place, cells, living, stretch.room if stretch else None, settings)))
        if not places:
            listed.add_option(Option("No place yet: press n to describe the first one.", disabled=True))
        elif listed.option_count:
            listed.highlighted = min(at, listed.option_count - 1)

    @on(OptionList.OptionHighlighted, "#places")
    def tell(self) -> None:
        """What hangs in the selected place, its room on the coming days, and how emergences went there."""
        at = self.query_one("#places", OptionList).highlighted
        lines: list[str] = []
        if at is not None and at < len(self.names):
            name = self.names[at]
            lines = place_lines(self.stretches.get(name), name, self.keeper, self.picture)
        self.query_one("#told", Static).update("\n".join(shown(line) for line in lines))

    def action_list(self, way: str) -> None:
        listed = self.query_one("#places", OptionList)
        listed.action_cursor_down() if way == "down" else listed.action_cursor_up()

    def action_walk(self, step: int) -> None:
        """Walk past the selected place earlier or later."""
        listed = self.query_one("#places", OptionList)
        at = listed.highlighted
        if at is not None and self.names:
            name = self.names[at]
            if self.attempt(lambda: self.keeper.places.walk(name, at + step)) is not None:
                listed.highlighted = min(max(at + step, 0), len(self.names) - 1)
                self.refill()

    def action_add(self) -> None:
        self.app.push_screen(place_form(self.keeper, None), self._kept)

    @on(OptionList.OptionSelected)
    def action_edit(self) -> None:
        at = self.query_one("#places", OptionList).highlighted
        if at is not None and self.names:
            self.app.push_screen(place_form(self.keeper, self.names[at]), self._kept)

    def action_thermometer(self) -> None:
        """Write down what the thermometer of the selected place says."""
        at = self.query_one("#places", OptionList).highlighted
        if at is not None and self.names:
            self.app.push_screen(thermometer_form(self.keeper, self.names[at]), self._kept)

    def action_weather(self) -> None:
        """Type in what is expected of the coming days."""
        self.app.push_screen(weather_form(self.keeper), self._kept)

    def after_undo(self, done: Done) -> None:
        self._kept(done)
        if done.about in self.names:
            self.query_one("#places", OptionList).highlighted = self.names.index(done.about)

    def _kept(self, done: Done | None) -> None:
        self.refill()
        if done is not None:
            self.say(" · ".join([f"✓ {done.words}", *done.warnings]), "-warning" if done.warnings else "")


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
        lines.append(f"Drying there: {', '.join(pupa.label for pupa in now.dries)}.")
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
        Field("surface", f"Surface ({', '.join(surfaces)})", place.surface, known=surfaces),
        Field("capacity", "Capacity, pupae", _number(place.capacity), "no limit"),
        Field("along", "Or length and spacing, cm (120 / 8)", _along(place), "capacity alone"),
        Field("clearance_cm", "Clear height below a pupa, cm", _number(place.clearance_cm), "not measured"),
        Field("climbable", "Can a butterfly climb there? (yes, no)", _yes_no(place.climbable), "by its surface",
              ("yes", "no")),
        Field("temperature", f"Usual temperature, °{unit}", kept_words, "not known"),
        Field("trouble", "Dangers (drip, sun, ants, a cat …)", _trouble(place), "nothing"),
        Field("isolation", "Isolation place, for the sick alone? (yes, no)", "yes" if place.isolation else "no",
              known=("yes", "no")),
        Field("retired", "Retired? (yes, no)", "yes" if place.retired else "no", known=("yes", "no")),
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
    left = "no limit" if room is None else f"room for {room}"
    apart = " · in quarantine" if place.quarantined else " · isolation" if place.isolation else ""
    faults = shortfalls(place, settings.profile(settings.keeper.species), settings)
    state = "retired" if place.retired else "✗ " + faults[0].split(" (")[0] if faults else "✓ safe"
    name = set_cell_size(shown(place.name), min(cells, _NAME_CELLS))
    return Content(f"{name} {shown(place.surface):<9} {living:>3} living  {left:<11} {state}{apart}")


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
