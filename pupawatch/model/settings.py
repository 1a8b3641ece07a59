"""What a keeper can set, with the ranges that are allowed. The files are read by ``pupawatch.settings``."""

from functools import cached_property
from typing import Annotated, Literal

from msgspec import Meta, Struct, field

from pupawatch.model.adult_settings import Adult, Alarm, Health, Marks, Release, Sheet
from pupawatch.model.degrees import COLDEST_C, HOTTEST_C, Unit
from pupawatch.model.ranges import Hours, Name, Words

Chance = Annotated[float, Meta(ge=0, le=1)]


class Heat(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """How warmth drives the pupae of a species, in °C and days; what the forecast starts from before it learns.

    base_temp_c, base_temp_sd: the lower threshold and how unsure it is; cap_temp_c: warmth above it adds nothing;
    softness_c: how gradually development sets in at the base (0: a sharp bend). pupal_heat_cd: degree-days above the
    base from pupation to emergence; pupal_heat_sd: how much that differs between one setting and another. It is held
    to be sure at reference_temp_c: another base keeps the days a pupa takes there. within_sd_days: how far pupae of
    one setting differ, in days at the reference temperature. emergence_from_hours, emergence_to_hours: the window in
    which adults come out, after sunrise; off_window_share: of them come at other hours. heat_warning_c: warmth that
    may spoil the wings. rest_day_length_hours: of the pupae formed on days of this length at 40° of latitude half rest
    until spring, of shorter days more (None: none do). spring_base_temp_c, spring_heat_cd: base and degree-days of
    those that have rested, from midwinter on (None: as any other).
    """

    base_temp_c: Annotated[float, Meta(ge=-5, le=20)]
    base_temp_sd: Annotated[float, Meta(gt=0, le=8)]
    cap_temp_c: Annotated[float, Meta(ge=22, le=45)]
    softness_c: Annotated[float, Meta(ge=0, le=6)]
    pupal_heat_cd: Annotated[float, Meta(ge=20, le=1000)]
    pupal_heat_sd: Annotated[float, Meta(gt=0, le=400)]
    reference_temp_c: Annotated[float, Meta(ge=15, le=30)]
    within_sd_days: Annotated[float, Meta(gt=0, le=5)]
    emergence_from_hours: Annotated[float, Meta(ge=-12, le=12)]
    emergence_to_hours: Annotated[float, Meta(ge=-11, le=20)]
    off_window_share: Annotated[float, Meta(ge=0, le=1)]
    heat_warning_c: Annotated[float, Meta(ge=20, le=45)]
    rest_day_length_hours: Annotated[float, Meta(ge=0, le=24)] | None = None
    spring_base_temp_c: Annotated[float, Meta(ge=-5, le=18)] | None = None
    spring_heat_cd: Annotated[float, Meta(ge=20, le=1000)] | None = None

    def __post_init__(self) -> None:
        if self.base_temp_c + 2 > self.reference_temp_c:
            raise ValueError("base_temp_c must be at least 2 °C below reference_temp_c")
        if self.spring_base_temp_c is not None and self.spring_base_temp_c + 2 > self.reference_temp_c:
            raise ValueError("spring_base_temp_c must be at least 2 °C below reference_temp_c")
        if self.emergence_from_hours + 0.5 > self.emergence_to_hours:
            raise ValueError("emergence_to_hours must be at least half an hour after emergence_from_hours")

    @property
    def reference_days(self) -> float:
        """Days from pupation to emergence at the reference temperature."""
        return self.pupal_heat_cd / (self.reference_temp_c - self.base_temp_c)


class Profile(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What is particular to a species; the file names the source of every value.

    hangs: by the tail (from a silk pad) or head up in a silk belt. soft_hours: nothing may touch the pupa before;
    firm_hours: it may be moved freely from then; the cold pair holds where it was kept below ``cold_below_c``
    degrees Celsius. pupal_days_*: the usual time from pupation to emergence at room temperature, in days.
    dark_age_hours: a pupa that is seen dark or clear has hung at least so long (None: its colour tells no age).
    clearance_below_cm: clear height an emerging adult needs under the pupa; spacing_cm: between neighbours;
    climb_within_cm: so near it needs something to climb, from where it hangs down to the base.
    looks: what each colour stage looks like; heat: how warmth drives it; adult: its first hours and its flight.
    """

    name: Name
    scientific_name: Name
    hangs: Literal["tail", "belt"]
    overwinters: bool
    prepupa_hours_low: Hours
    prepupa_hours_high: Hours
    soft_hours: Annotated[float, Meta(ge=12, le=240)]
    firm_hours: Annotated[float, Meta(ge=12, le=480)]
    cold_below_c: Annotated[float, Meta(ge=0, le=30)]
    cold_soft_hours: Annotated[float, Meta(ge=12, le=480)]
    cold_firm_hours: Annotated[float, Meta(ge=12, le=960)]
    pupal_days_low: Annotated[float, Meta(ge=3, le=60)]
    pupal_days_high: Annotated[float, Meta(ge=3, le=90)]
    darkening_hours_low: Hours
    darkening_hours_high: Hours
    dark_age_hours: Annotated[float, Meta(ge=24, le=1000)] | None = None
    clear_hours: Hours
    judge_wings_after_hours: Hours
    release_after_hours: Hours
    clearance_below_cm: Annotated[float, Meta(ge=3, le=50)]
    spacing_cm: Annotated[float, Meta(ge=1, le=50)]
    climb_within_cm: Annotated[float, Meta(gt=0, le=20)] = 2.0
    looks: dict[str, Words]
    heat: Heat
    adult: Adult

    def __post_init__(self) -> None:
        for low, high in (
            ("soft_hours", "firm_hours"),
            ("cold_soft_hours", "cold_firm_hours"),
            ("soft_hours", "cold_soft_hours"),
            ("pupal_days_low", "pupal_days_high"),
            ("darkening_hours_low", "darkening_hours_high"),
            ("prepupa_hours_low", "prepupa_hours_high"),
        ):
            if getattr(self, low) > getattr(self, high):
                raise ValueError(f"{low} must not be more than {high}")


class Surface(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A kind of surface, and what a place of this surface is like unless the place itself says otherwise."""

    words: Words
    climbable: bool
    method: Name = "silk"
    """How a pupa that hangs on it is best taken off."""


class Method(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A way to do something by hand: the steps, and the cautions for pupa and person that stand beside them."""

    words: Words
    steps: list[Words]
    cautions: list[Words]


class Advice(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What a verdict of the move rule asks for: a word, a sign that needs no colour, and the steps."""

    word: Name
    sign: Annotated[str, Meta(min_length=1, max_length=2)]
    steps: list[Words]
    cautions: list[Words]


class StageSign(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """How a colour stage is shown: a sign that needs no colour."""

    sign: Annotated[str, Meta(min_length=1, max_length=2)]


class Published(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A published rate, shown beside the keeper's own as context and never as a target.

    words: what was counted and under which conditions; hits of n; source: where it was published.
    """

    words: Words
    hits: Annotated[int, Meta(ge=0)]
    n: Annotated[int, Meta(ge=1)]
    source: Words

    def __post_init__(self) -> None:
        if self.hits > self.n:
            raise ValueError("hits must not be more than n")


class Risks(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What the plan of the morning's moves reckons with; every chance is one of a bad emergence, from 0 to 1.

    moves_per_morning: no more are proposed in one day, rescues aside. worth_moving: a move must lower the chance by
    more than this. emerges: the share of pupae that emerge at all; late_doubt: the chance that the date of an
    emergence is wrong altogether. climbable, unclimbable: what to expect of a place, and surfaces where a surface
    has its own. record_weight: how many pupae that expectation weighs as much as; causes: the losses that are the
    place's doing. no_clearance: added where nothing is clear below, falling to none at what the species needs.
    drip, sun, disturbed, danger: added while the place has it, or the pupa is in it. handled_*: what a move adds:
    in the first hour, when the soft and when the firm time is over, and on top where it is darkening or clear.
    beside_sick: what a sick one that hangs beside others costs, beside its own chance. later: how much it counts
    that what is still inside after the last morning of the plan may yet be moved. takes_room: a body takes room
    until the chance that it is inside, or its butterfly dries, falls below this.
    """

    moves_per_morning: Annotated[int, Meta(ge=0, le=1000)]
    worth_moving: Chance
    emerges: Annotated[float, Meta(gt=0, lt=1)]
    late_doubt: Annotated[float, Meta(gt=0, le=1)]
    climbable: Chance
    unclimbable: Chance
    surfaces: dict[str, Chance]
    record_weight: Annotated[float, Meta(gt=0, le=1000)]
    causes: list[Name]
    no_clearance: Chance
    drip: Chance
    sun: Chance
    disturbed: Chance
    danger: Chance
    handled_fresh: Chance
    handled_soft: Chance
    handled_firm: Chance
    handled_darkening: Chance
    handled_clear: Chance
    beside_sick: Chance
    later: Chance
    takes_room: Annotated[float, Meta(gt=0, le=1)]

    def __post_init__(self) -> None:
        if not self.handled_fresh >= self.handled_soft >= self.handled_firm:
            raise ValueError("handled_fresh, handled_soft and handled_firm must not rise")
        if self.handled_darkening > self.handled_clear:
            raise ValueError("handled_darkening must not be more than handled_clear")


class TemperatureRules(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """When a place's warmth is warned of: a day's mean at a species' ``heat_warning_c``, or more than ``peak_hours``
    hours of a day at ``peak_above_c`` above it. From ``sensor_in_sun_c`` on it is asked whether the sensor stands in
    the sun. cold_warning_c: at this or below, for species that do not overwinter."""

    peak_above_c: Annotated[float, Meta(ge=0, le=20)]
    peak_hours: Annotated[float, Meta(ge=0, le=24)]
    sensor_in_sun_c: Annotated[float, Meta(ge=40, le=60)]
    cold_warning_c: Annotated[float, Meta(ge=-20, le=15)]


class Prepupa(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """How long a hanging caterpillar takes: it is asked about after ``overdue_times`` the longest usual hours of its
    species; below the species' limit for cold everything takes ``cold_times`` as long."""

    overdue_times: Annotated[float, Meta(ge=1, le=10)]
    cold_times: Annotated[float, Meta(ge=1, le=10)]


class Threats(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Which of the named emergencies a pupa is in because its place drips, gets direct sun or is disturbed;
    disturbed_by: where a word is found in what disturbs it, the emergency that it stands for."""

    drip: Name
    sun: Name
    disturbed: Name
    disturbed_by: dict[str, Name]

    @property
    def named(self) -> list[str]:
        """Every emergency that is meant."""
        return [self.drip, self.sun, self.disturbed, *self.disturbed_by.values()]


LYING = ("prepupa", "soft", "firm", "dark", "clear")
"""How one that lies or hangs in danger may look, as the steps of a rescue tell them apart."""


class Review(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """How the season is reviewed.

    deformed: the wing conditions that are not sound. prior_sound, prior_unsound: the pupae that the weak prior
    weighs as much as, a Beta distribution of success rates. smallest_group: nothing is said of fewer known outcomes.
    fit_groups: so many groups of that size are needed to learn the prior from the keeper's own. hang_bins_hours:
    where the bins of hang time at the move end. hour_within_hours: an emergence is known to the hour of day where
    its interval is no longer than this. season_starts_month: the month in which a new season begins.
    """

    deformed: list[Name]
    prior_sound: Annotated[float, Meta(gt=0, le=1000)]
    prior_unsound: Annotated[float, Meta(gt=0, le=1000)]
    smallest_group: Annotated[int, Meta(ge=2, le=100)]
    fit_groups: Annotated[int, Meta(ge=3, le=100)]
    hang_bins_hours: Annotated[list[Hours], Meta(min_length=1)]
    hour_within_hours: Annotated[float, Meta(gt=0, le=24)]
    season_starts_month: Annotated[int, Meta(ge=1, le=12)]
    published: dict[str, Published]

    def __post_init__(self) -> None:
        if self.hang_bins_hours != sorted(set(self.hang_bins_hours)):
            raise ValueError("hang_bins_hours must rise from bin to bin")


class Care(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The house rules of care: the named reasons, causes, conditions, surfaces, methods, and the advice texts.

    evening_round_starts_hour: from when every place is to be visited once more; None: one round a day is enough.
    cannot_fly: the wing conditions of an adult that is kept. floor: what to do for one that lies there with soft wings.
    rescue: what to do at once for a pupa in danger: lying there soft, firm, dark and so on; ``hanging``, by the name of
    its danger, or that with how it looks; ``second-fall``; ``leak``; each with ``belt-`` before it for a belted one.
    threats: which danger a place's own conditions are. belt_method, lying_method: how a belted pupa is set up, and one
    that lies is propped; whole_method: by which it is moved with what it hangs on. marking: how a butterfly is held for
    its mark; keeping: what stands beside bringing one in.
    """

    round_starts_hour: Annotated[int, Meta(ge=0, le=23)]
    evening_round_starts_hour: Annotated[int, Meta(ge=0, le=23)] | None = None
    emergencies: dict[str, Words]
    losses: dict[str, Words]
    wings: dict[str, Words]
    surfaces: dict[str, Surface]
    methods: dict[str, Method]
    advice: dict[str, Advice]
    stages: dict[str, StageSign]
    review: Review
    cannot_fly: list[Name]
    floor: Advice
    marking: Method
    keeping: Method
    release: Release
    risk: Risks
    rescue: dict[str, Method]
    threats: Threats
    prepupa: Prepupa
    temperature: TemperatureRules
    belt_method: Name
    lying_method: Name
    whole_method: Name

    def __post_init__(self) -> None:
        self._check_rescue()
        for condition in self.cannot_fly:
            if condition not in self.wings:
                raise ValueError(f"cannot_fly: {condition!r} is not one of the wings: {', '.join(self.wings)}")
        for condition in self.review.deformed:
            if condition not in self.wings:
                raise ValueError(f"review.deformed: {condition!r} is not one of the wings: {', '.join(self.wings)}")
        for name, surface in self.surfaces.items():
            if surface.method not in self.methods:
                raise ValueError(
                    f"surfaces.{name}: {surface.method!r} is not one of the methods: {', '.join(self.methods)}"
                )
        for name in self.risk.surfaces:
            if name not in self.surfaces:
                raise ValueError(f"risk.surfaces: {name!r} is not one of the surfaces: {', '.join(self.surfaces)}")
        for cause in self.risk.causes:
            if cause not in self.losses:
                raise ValueError(f"risk.causes: {cause!r} is not one of the losses: {', '.join(self.losses)}")

    def _check_rescue(self) -> None:
        cases = ["hanging", "second-fall", "leak", *LYING]
        cases += [f"{name}{state}" for name in self.emergencies for state in ("", *(f"-{one}" for one in LYING))]
        for name in self.rescue:
            if name.removeprefix("belt-") not in cases:
                raise ValueError(f"rescue: {name!r} is not a case: {', '.join(cases)}, or one of them after belt-")
        for name in ("soft", "firm", "dark", "hanging", "leak"):
            if name not in self.rescue:
                raise ValueError(f"rescue: the steps for {name!r} are missing")
        for name in self.threats.named:
            if name not in self.emergencies:
                raise ValueError(f"threats: {name!r} is not one of the emergencies: {', '.join(self.emergencies)}")
        for name in (self.belt_method, self.lying_method, self.whole_method):
            if name not in self.methods:
                raise ValueError(f"{name!r} is not one of the methods: {', '.join(self.methods)}")


class Place(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True, omit_defaults=True):
    """Anything a pupa can hang in or on. The order of the places is the keeper's walking order.

    capacity: how many pupae it holds (None: not limited). clearance_cm: clear height below a pupa hanging there
    (None: not measured). climbable: None takes it from the surface. temperature_c: what it is usually kept at,
    where the keeper knows; below a species' limit the longer hanging times hold. retired: no longer walked.
    quarantined: nothing new is hung there, and nothing taken out, until it is cleaned. isolation: where a sick one is
    hung, and nothing else.
    length_cm: of the edge or line they hang along, side by side, and spacing_cm: how far apart (None: as far as the
    species need); capacity holds beside it. drip, sun: it has dripping or standing water, direct sun. disturbed: by
    what (ants, wasps, a pet), "" by nothing. logger: the one whose readings are used where several hang there ("": the
    mean of all).
    """

    name: Name
    surface: Name = "unknown"
    capacity: Annotated[int, Meta(ge=1, le=1000)] | None = None
    clearance_cm: Annotated[float, Meta(ge=0, le=500)] | None = None
    climbable: bool | None = None
    temperature_c: Annotated[float, Meta(ge=COLDEST_C, le=HOTTEST_C)] | None = None
    retired: bool = False
    quarantined: bool = False
    isolation: bool = False
    length_cm: Annotated[float, Meta(ge=1, le=10_000)] | None = None
    spacing_cm: Annotated[float, Meta(ge=1, le=100)] | None = None
    drip: bool = False
    sun: bool = False
    disturbed: Annotated[str, Meta(max_length=40)] = ""
    logger: Annotated[str, Meta(max_length=40)] = ""


Signs = Literal["auto", "all", "plain"]


class Keeper(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The keeper's own choices. zone: IANA name, "" takes the machine's. species: the default profile.
    temperature_unit: in which temperatures are typed and shown; inside they are °C. signs: which the dashboard draws,
    all, or only plain ones; "auto" takes what the console can show.

    latitude, longitude: degrees north and east, for sunrise and the length of the day; None: not told.
    """

    zone: str
    species: Name
    theme: Name
    signs: Signs
    temperature_unit: Unit
    marks: Marks
    alarm: Alarm
    sheet: Sheet
    latitude: Annotated[float, Meta(ge=-90, le=90)] | None = None
    longitude: Annotated[float, Meta(ge=-180, le=180)] | None = None


THEMES = (
    "dusk", "noon", "ansi-dark", "ansi-light", "textual-dark", "textual-light", "atom-one-dark",
    "atom-one-light", "catppuccin-frappe", "catppuccin-latte", "catppuccin-macchiato", "catppuccin-mocha", "dracula",
    "flexoki", "gruvbox", "monokai", "nord", "rose-pine", "rose-pine-dawn", "rose-pine-moon", "solarized-dark",
    "solarized-light", "tokyo-night",
)  # fmt: skip
"""The themes of the dashboard: its own two, those of the terminal's own colours, and those that come with Textual."""


class Settings(Struct, frozen=True, kw_only=True, dict=True):
    """Everything that was set."""

    species: dict[str, Profile]
    care: Care
    places: list[Place]
    keys: dict[str, str]
    keeper: Keeper
    health: Health
    zone: str = field(default="UTC")
    """The keeper's zone, the machine's where the keeper named none."""

    @property
    def unit(self) -> Unit:
        """The unit of the temperatures that are typed and shown."""
        return self.keeper.temperature_unit

    def place(self, name: str) -> Place:
        """The place of that name; one the settings do not know has surface ``unknown``."""
        return self._by_name.get(name) or Place(name=name)

    def place_like(self, name: str) -> Place:
        """The place of that name in any case of letters; else a new one."""
        wanted = name.strip().casefold()
        return next((place for place in self.places if place.name.casefold() == wanted), Place(name=name.strip()))

    def knows_place(self, name: str) -> bool:
        """Whether the keeper has described that place."""
        return name in self._by_name

    @cached_property
    def _by_name(self) -> dict[str, Place]:
        return {place.name: place for place in self.places}

    def profile(self, species: str) -> Profile:
        """The profile of a species, the keeper's default one where there is none."""
        return self.species.get(species) or self.species[self.keeper.species]

    def climbable(self, place: Place) -> bool:
        """Whether an adult can climb there: what the place says, else what its surface says, else no."""
        if place.climbable is not None:
            return place.climbable
        surface = self.care.surfaces.get(place.surface)
        return surface.climbable if surface else False
