"""The living adults: how long each is out, what it is ready for, its sex, wings and mark; and the data sheet."""

from pathlib import Path
from typing import ClassVar

from textual.binding import BindingType
from textual.content import Content

from pupawatch.care import adults
from pupawatch.care.adults import Butterfly
from pupawatch.keeper.drafts import Done
from pupawatch.model.pupa import Pupa
from pupawatch.model.state import State
from pupawatch.model.text import counted
from pupawatch.model.times import local_day
from pupawatch.model.typed_times import parse_day
from pupawatch.tui.acts import bindings, first_key
from pupawatch.tui.screens.butterflies import ButterflyScreen
from pupawatch.tui.screens.dialogs import Field, Form
from pupawatch.tui.screens.listing import Item
from pupawatch.words.adults import unreleased_words

_OLDER = "older"


class AdultsScreen(ButterflyScreen):
    """Every living adult, the newest first."""

    SCREEN = "adults"
    BINDINGS: ClassVar[list[BindingType]] = bindings(SCREEN)

    caption = f"{'':13}{'label':<7}{'out for':>13}  {'sex':<7}{'wings':<11}{'mark':<9} what to do"
    every = False
    """Whether those of long ago are listed; else only a line tells how many they are."""
    _older: tuple[State, list[Pupa]] | None = None

    def items(self) -> list[Item]:
        now, settings = self.keeper.clock(), self.keeper.settings
        here = adults.living(self.keeper.state, now, settings)
        older = self._of_long_ago()
        here += [adults.butterfly(pupa, now, settings) for pupa in older if self.every]
        items = [self.butterfly_item(butterfly, _columns(butterfly.pupa)) for butterfly in here]
        if older and not self.every:
            items.append(
                Item(
                    _OLDER,
                    Content.styled(
                        f" {unreleased_words(len(older))}: {first_key(settings.keys, 'older')} shows them",
                        "$text-muted",
                    ),
                )
            )
        return items

    def _of_long_ago(self) -> list[Pupa]:
        """Those that no round remembers, read anew with the state."""
        if self._older is None or self._older[0] is not self.keeper.state:
            self._older = self.keeper.state, self.keeper.adults.unreleased()
        return self._older[1]

    def action_older(self) -> None:
        self.every = not self.every
        self.refill()

    def headline(self) -> str:
        here = [item.about for item in self.listed if isinstance(item.about, Butterfly)]
        ready = sum(1 for butterfly in here if butterfly.phase == "ready")
        mark = self.keeper.adults.proposed_mark()
        told = [
            f"{len(here)} butterflies in your care",
            f"{ready} ready to release",
            f"next mark {mark}" if mark else "",
        ]
        return ", ".join(part for part in told if part)

    def tell(self, item: Item | None) -> Content:
        if item is not None and item.key == _OLDER:
            return Content(
                _keyed(
                    self,
                    "Press {older}, then {release} or {lost}: record each as released or dead. That frees its label.",
                )
            )
        if item is None or not isinstance(item.about, Butterfly):
            return Content("No butterflies in your care. esc goes back to the round.")
        return self.butterfly_story(item.about)

    def action_sheet(self) -> None:
        self.app.push_screen(_sheet_form(self), self.kept)


def _keyed(screen: AdultsScreen, words: str) -> str:
    """The words with the keys of the acts that they name in braces."""
    return words.format_map({act: first_key(screen.keeper.settings.keys, act) for act in ("older", "release", "lost")})


def _columns(pupa: Pupa) -> str:
    wings, mark = pupa.wings.condition if pupa.wings else "–", pupa.marked.code if pupa.marked else "–"
    return f"{pupa.sex or '–':<7}{wings[:10]:<11}{mark[:9]:<9}"


def _sheet_form(screen: AdultsScreen) -> Form:
    keeper = screen.keeper
    now, zone = keeper.clock(), keeper.settings.zone
    today = local_day(now, zone)
    columns = list(keeper.settings.keeper.sheet.columns)

    def keep(values: dict[str, str]) -> Done:
        from pupawatch.exchange import sheet

        since, until = (parse_day(values[end], zone, now) for end in ("since", "until"))
        chosen = [column.strip() for column in values["columns"].split(",") if column.strip()]
        rows = sheet.table(keeper.whole_state().pupae.values(), keeper.settings, since, until, chosen)
        path = Path(values["file"].strip()).expanduser()
        sheet.write(rows, path, f"Butterflies, {since} to {until}")
        return Done(f"{counted(len(rows) - 1, 'butterfly', 'butterflies')} written to {path.absolute()}.", [], [])

    fields = [
        Field("since", "From", adults.season_begins(now, keeper.settings).isoformat()),
        Field("until", "To", today.isoformat()),
        Field("columns", "Columns", ", ".join(columns)),
        Field("file", "File (.html to print, .csv, .txt)", f"butterflies-{today}.html"),
    ]
    return Form("The data sheet of butterflies marked, kept or released", fields, keep)
