"""What the review tests share: settings with four invented places, and pupae made in one line."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import msgspec
import pytest

from pupawatch import settings as files
from pupawatch.model import entries as kinds
from pupawatch.model.fold import fold
from pupawatch.model.pupa import Pupa
from pupawatch.model.settings import Place, Settings

START = datetime(2026, 7, 1, 6, 0, tzinfo=UTC)
NUMBERS = count()


@pytest.fixture(scope="session")
def settings(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    """The shipped settings in UTC, with the roof and side of a cage, a bunch of stems and a jar."""
    places = [
        Place(name="Roof", surface="mesh", temperature_c=21),
        Place(name="Stems", surface="cut-stem"),
        Place(name="Jar", surface="glass"),
        Place(name="Chamber", surface="chamber"),
    ]
    shipped = files.load(Path(tmp_path_factory.mktemp("no-settings")))
    return msgspec.structs.replace(shipped, places=places, zone="UTC")


def _tag(kind: type[kinds.Entry]) -> str:
    return str(kind.__struct_config__.tag)


MakePupa = Callable[..., Pupa]


@pytest.fixture(scope="session")
def make() -> MakePupa:
    return make_pupa


def make_pupa(
    site: str = "Roof",
    wings: str = "",
    lost: str = "",
    moved_after: float | None = None,
    emergency: str = "",
    emerged: bool = False,
    formed: datetime = START,
    days: float = 10,
    species: str = "monarch",
) -> Pupa:
    """A pupa that formed within the twelve hours before ``formed`` and ended ``days`` later, if it has."""
    number = next(NUMBERS)
    told: list[kinds.Entry] = []

    def tell(kind: type[kinds.Entry], at: datetime, since: datetime | None = None, **fields: object) -> None:
        fields |= {"pupa": f"p{number}", "zone": "UTC", "act": "a", "id": f"{number}-{len(told):02}"}
        told.append(
            msgspec.convert(fields | {"happened": at, "since": since, "recorded": at, "kind": _tag(kind)}, kind)
        )

    out = formed + timedelta(days=days)
    since = formed - timedelta(hours=12)
    tell(kinds.Found, formed, since, label=f"P{number}", species=species, place=site)
    if moved_after is not None:
        tell(kinds.Moved, formed + timedelta(hours=moved_after), to="Chamber", method="silk", emergency=emergency)
    if emerged or wings:
        tell(kinds.Emerged, out, out - timedelta(hours=2))
    if wings:
        tell(kinds.Wings, out + timedelta(hours=5), condition=wings)
    if lost:
        tell(kinds.Lost, out, cause=lost)
    return fold(f"p{number}", told)
