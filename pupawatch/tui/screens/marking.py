"""Mark a butterfly, release it, or record where it is kept: short forms, with the cautions where the hand acts."""

from collections.abc import Callable
from typing import Literal

from textual import on
from textual.widgets import Input, Static

from pupawatch.care import adults
from pupawatch.care.adults import Weather
from pupawatch.care.beside import marking
from pupawatch.errors import NotUnderstood
from pupawatch.keeper import Keeper
from pupawatch.keeper.drafts import Done
from pupawatch.model.codes import ORIGINS, SEXES, SKIES, Code
from pupawatch.model.degrees import Unit, degrees, typed_degrees
from pupawatch.model.pupa import Pupa
from pupawatch.model.text import quoted, shown_lines
from pupawatch.tui.screens.dialogs import Field, Form, way_words
from pupawatch.words.adults import advice_words


def mark_form(keeper: Keeper, pupa: Pupa) -> Form:
    """A form that proposes the next code of the series; sex and origin are asked where nobody said them."""
    sexes = keeper.settings.profile(pupa.species).adult.sexes
    pattern = keeper.settings.keeper.marks.pattern
    fields = [
        Field(
            "code",
            "Mark",
            keeper.adults.proposed_mark(),
            f"fits {pattern}" if pattern else "as your programme prescribes",
        )
    ]
    if not pupa.sex:
        fields.append(Field("sex", f"Sex (f: {sexes['female']}; m: {sexes['male']})", known=SEXES, one_of=True))
    if not pupa.origin:
        fields.append(
            Field("origin", f"Origin ({', '.join(ORIGINS)})", keeper.settings.keeper.sheet.origin, "not known", ORIGINS)
        )

    def keep(values: dict[str, str]) -> Done:
        if not values["code"].strip():
            raise NotUnderstood("The mark is empty; type its code.")
        sex, origin = _of(values.get("sex", ""), SEXES, "sex"), _of(values.get("origin", ""), ORIGINS, "origin")
        return keeper.adults.mark(pupa, values["code"], sex, origin)

    return Form(f"Mark {_who(keeper, pupa)}", fields, keep, above=way_words(marking(keeper.settings)))


def kept_form(keeper: Keeper, pupa: Pupa) -> Form:
    """For an adult that cannot fly: where it is kept."""
    assert pupa.wings is not None
    fields = [Field("kept", "Where is it kept?", pupa.place, known=keeper.round_places())]
    title = f"{pupa.label} cannot fly: its wings are {pupa.wings.condition}"
    above = way_words(keeper.settings.care.keeping)
    return Form(title, fields, lambda values: keeper.adults.release(pupa, kept=_named(values["kept"])), above)


class ReleaseForm(Form):
    """Where from and in which weather; the advice above changes with what is typed."""

    def __init__(self, keeper: Keeper, pupa: Pupa, fields: list[Field], keep: Callable[[dict[str, str]], Done]) -> None:
        self.keeper = keeper
        self.individual = pupa
        self.newest = keeper.adults.newest_c()
        super().__init__(f"Release {_who(keeper, pupa)}", fields, keep, above=" ")

    @on(Input.Changed)
    def advise(self) -> None:
        """Say whether it should fly now, by what is typed so far."""
        values = {field.name: self.query_one(f"#{field.name}", Input).value for field in self.fields}
        settings, now = self.keeper.settings, self.keeper.clock()
        try:
            weather = weather_of(values, settings.unit)._replace(newest=self.newest)
            advice = adults.release_advice(self.individual, now, weather, settings)
        except NotUnderstood:
            return
        sign = "✓" if advice.now else "✗"
        told = [f"{sign} {advice_words(advice, settings.zone, now)}"]
        told += [f"! {caution}" for caution in settings.care.release.cautions]
        self.query_one("#above", Static).update(shown_lines("\n".join(told)))

    def on_mount(self) -> None:
        self.advise()


def release_form(
    keeper: Keeper, pupa: Pupa, place: str, weather: Weather, remember: Callable[[str, Weather], None]
) -> Form:
    """A form that proposes where and in which weather the last one was released. remember: told what was typed."""
    unit = keeper.settings.unit
    warm = "" if weather.temperature_c is None else degrees(weather.temperature_c, unit)
    fields = [
        Field("sky", "Sky (sun, cloud, rain)", weather.sky, "not known", SKIES),
        Field("temperature", f"Temperature in the shade now, °{unit}", warm, "not known"),
        Field("place", "Where", place, "garden, meadow …"),
    ]
    if adults.load_asks(pupa, keeper.settings):
        fields.append(Field("despite", "Why it is released anyway", hint="recorded with the release"))

    def keep(values: dict[str, str]) -> Done:
        told = weather_of(values, unit)
        done = keeper.adults.release(pupa, values["place"], weather=told, despite=values.get("despite", ""))
        remember(values["place"].strip(), told)
        return done

    return ReleaseForm(keeper, pupa, fields, keep)


def weather_of(values: dict[str, str], unit: Unit) -> Weather:
    """The weather as it was typed; NotUnderstood where it makes none."""
    text = values["temperature"].strip()
    warm = typed_degrees(text, unit) if text else None
    return Weather(warm, _of(values["sky"], SKIES, "sky"))


def _of(text: str, allowed: tuple[Code, ...], what: str) -> Code | Literal[""]:
    """The allowed word that begins with what was typed; "" where nothing was."""
    word = text.strip().casefold()
    if not word:
        return ""
    fitting = [one for one in allowed if one == word] or [one for one in allowed if one.startswith(word)]
    if len(fitting) != 1:
        raise NotUnderstood(f"{quoted(text)} is not a {what}; it is one of {', '.join(allowed)}")
    return fitting[0]


def _named(text: str) -> str:
    if not text.strip():
        raise NotUnderstood("Record where it is kept.")
    return text


def _who(keeper: Keeper, pupa: Pupa) -> str:
    """The butterfly in words that stop a hand which has the wrong one."""
    wings = pupa.wings.condition if pupa.wings else "not judged"
    grounded = ", cannot fly" if adults.cannot_fly(pupa, keeper.settings) else ""
    return f"{pupa.label} (wings {wings}{grounded})"
