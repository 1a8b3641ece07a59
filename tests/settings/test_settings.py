"""Settings: what is shipped loads and names its sources; what a keeper writes is understood or precisely refused."""

import os
import re
from pathlib import Path

import msgspec
import pytest

from pupawatch import settings as files
from pupawatch.errors import NotUnderstood, Unusable
from pupawatch.model.acts import clashes
from pupawatch.model.settings import Place

SHIPPED = files.shipped("config")
SOURCED = r"source: \S|common practice|reasoned"
VALUE = re.compile(r"^([a-z_]+) = ")
NAMES = frozenset({"name", "scientific_name", "source", "hits", "n"})
NUMBER = re.compile(r"\s*[\w-]+\s*=\s*\[?\s*[-+]?\d[\d_.]*(\s*,\s*[\d_.]+)*\s*\]?\s*(#.*)?$")


def errors_of(folder: Path) -> list[str]:
    """What loading complains of, a line each, without the folder before it."""
    with pytest.raises(Unusable) as raised:
        files.load(folder)
    told = str(raised.value).split("\n")
    assert told[0] == "The settings have errors; correct them and try again:"
    return [line.removeprefix(f"{folder}/") for line in told[1:]]


def test_what_is_shipped_loads(tmp_path: Path) -> None:
    settings = files.load(tmp_path / "no-such-folder")
    assert {"monarch", "queen", "painted-lady", "black-swallowtail"} <= settings.species.keys()
    assert settings.keeper.species == "monarch"
    assert settings.places == []


def test_five_species_are_shipped_and_two_of_them_can_overwinter(tmp_path: Path) -> None:
    profiles = files.load(tmp_path).species.values()
    assert len(profiles) >= 5
    assert sum(profile.overwinters for profile in profiles) >= 2


@pytest.mark.parametrize("path", sorted(SHIPPED.glob("*.toml")), ids=lambda path: path.name)
def test_every_shipped_number_names_its_source(path: Path) -> None:
    bare = [
        f"{path.name}:{number}: {line}"
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)
        if (found := NUMBER.match(line)) and not re.search(SOURCED, found[2] or "")
    ]
    assert bare == []


@pytest.mark.parametrize("name", ["care.toml", "health.toml", "species.toml"])
def test_every_shipped_value_has_a_source_and_every_named_source_is_listed(name: str) -> None:
    """A value has it on its own line, or all values of its table have it beside the heading; names are no values."""
    bare, heading = [], ""
    text = (SHIPPED / name).read_text(encoding="utf-8")
    for number, line in enumerate(text.splitlines(), start=1):
        if line.startswith("["):
            heading = line
        elif (found := VALUE.match(line)) and found[1] not in NAMES:
            comment = line.partition(" # ")[2] or heading.partition(" # ")[2]
            if not re.search(SOURCED, comment):
                bare.append(f"{name}:{number}: {line}")
    assert bare == []
    listed = set(re.findall(r"^#   (\[[^]]+])", text, re.MULTILINE))
    comments = [line.partition("# ")[2] for line in text.splitlines() if not line.startswith("#   [")]
    used = {source for comment in comments for source in re.findall(r"\[[A-Za-z][^]]{3,}]", comment)}
    assert used == listed
    unnamed = [
        comment for comment in comments if re.match(r"source: (?!as above|computed|between|of each|\[)", comment)
    ]
    assert unnamed == []


def test_the_search_for_numbers_finds_those_that_are_there() -> None:
    lines = (SHIPPED / "species.toml").read_text(encoding="utf-8").splitlines()
    assert sum(1 for line in lines if NUMBER.match(line)) > 100
    assert NUMBER.match("soft_hours = 24")
    assert NUMBER.match("bins = [24, 48] # x")
    assert not NUMBER.match('words = "24 hours"')


def test_a_keeper_writes_only_what_differs(tmp_path: Path) -> None:
    (tmp_path / "species.toml").write_text(
        "[monarch]\nsoft_hours = 30\n[monarch.looks]\nclear = 'glassy'\n", encoding="utf-8"
    )
    (tmp_path / "keeper.toml").write_text(
        '\ufeffzone = "Europe/Berlin"\n', encoding="utf-8"
    )  # as some editors begin a file
    shipped, mine = files.load(tmp_path / "nowhere"), files.load(tmp_path)
    monarch = shipped.species["monarch"]
    expected = msgspec.structs.replace(monarch, soft_hours=30, looks={**monarch.looks, "clear": "glassy"})
    assert mine.species == {**shipped.species, "monarch": expected}
    assert (mine.zone, mine.keeper.species, mine.care) == ("Europe/Berlin", "monarch", shipped.care)


def test_all_errors_of_all_files_are_told_at_once_with_file_line_and_key(tmp_path: Path) -> None:
    (tmp_path / "species.toml").write_text(
        "# mine\n[monarch]\nsoft_hours = 3\nfirm_hour = 48\n[monarch.heat]\ncap_temp_c = 'x'\n", encoding="utf-8"
    )
    (tmp_path / "care.toml").write_text("round_starts_hour = 24\n[wings]\nsound = 5\n", encoding="utf-8")
    (tmp_path / "keys.toml").write_text("[keys]\nmove = 'd'\n", encoding="utf-8")
    (tmp_path / "keeper.toml").write_text("\nzone = 'Mars/Olympus'\n", encoding="utf-8")
    (tmp_path / "places.toml").write_text(
        "[[places]]\nname = 'Roof'\n\n[[places]]\nname = 'Roof'\ncapacity = 0\nclimbable = 'no'\n", encoding="utf-8"
    )
    told = [line.split(", allowed: ")[0] for line in errors_of(tmp_path)]
    assert sorted(told) == sorted(
        [
            "species.toml:4: monarch.firm_hour: there is no such key; did you mean 'firm_hours'? got 'firm_hour'",
            "species.toml:3: monarch.soft_hours: must be a number of at least 12, got 3",
            "species.toml:6: monarch.heat.cap_temp_c: must be a number, got 'x'",
            "care.toml:1: round_starts_hour: must be a whole number of at most 23, got 24",
            "care.toml:3: wings.sound: must be a text in quotation marks, got 5",
            "keys.toml:2: keys.move: 'd' is already the key of 'darkened' (screen: round)",
            "keeper.toml:2: zone: 'Mars/Olympus' is not an IANA zone; write it like America/Chicago",
            "places.toml:6: places[1].capacity: must be a whole number of at least 1, got 0",
            "places.toml:7: places[1].climbable: must be true or false or left out, got 'no'",
        ]
    )


def test_names_are_checked_across_the_files_with_the_nearest_one_offered(tmp_path: Path) -> None:
    (tmp_path / "keeper.toml").write_text("species = 'monarh'\n", encoding="utf-8")
    (tmp_path / "places.toml").write_text(
        "[[places]]\nname = 'Roof'\nsurface = 'mash'\n[[places]]\nname = 'Roof'\nsurface = 'mesh'\n", encoding="utf-8"
    )
    species, surface, name = errors_of(tmp_path)
    assert species.startswith("keeper.toml:1: species: did you mean 'monarch'? got 'monarh', allowed: monarch, ")
    assert surface.startswith("places.toml:3: places[0].surface: did you mean 'mesh'? got 'mash', allowed: mesh, ")
    assert name == "places.toml:5: places[1].name: 'Roof' appears twice; each place needs its own name"


def test_values_that_contradict_each_other_are_refused(tmp_path: Path) -> None:
    (tmp_path / "species.toml").write_text("[monarch]\nfirm_hours = 20\n", encoding="utf-8")
    (told,) = errors_of(tmp_path)
    assert told.startswith("species.toml:1: monarch: soft_hours must not be more than firm_hours")


def test_a_new_species_needs_all_its_values(tmp_path: Path) -> None:
    (tmp_path / "species.toml").write_text("[peacock]\nname = 'Peacock'\nhangs = 'upside down'\n", encoding="utf-8")
    told = errors_of(tmp_path)
    assert "species.toml:1: peacock.soft_hours: is missing" in told
    assert any(line.startswith("species.toml:3: peacock.hangs: invalid enum value") for line in told)


@pytest.mark.parametrize("value", ["nan", "inf", "-inf", "-1", "1e9", "true", "'24'", "[24]"])
def test_no_value_of_a_set_time_can_open_the_rule(tmp_path: Path, value: str) -> None:
    (tmp_path / "species.toml").write_text(f"[monarch]\nsoft_hours = {value}\n", encoding="utf-8")
    (told,) = errors_of(tmp_path)
    assert told.startswith("species.toml:2: monarch.soft_hours: must be a number")


@pytest.mark.parametrize("trick", ["\\u001b]0;mine\\u0007", "left\\u202Eright"])
def test_words_that_would_steer_the_terminal_are_refused(tmp_path: Path, trick: str) -> None:
    (tmp_path / "care.toml").write_text(
        f'[advice.wait]\nword = "{trick}"\n[wings]\n"{trick}" = "torn"\n', encoding="utf-8"
    )
    with pytest.raises(Unusable) as refused:
        files.load(tmp_path)
    assert str(refused.value).count("control or invisible characters") == 2
    assert all(sign.isprintable() or sign == "\n" for sign in str(refused.value))


@pytest.mark.parametrize(
    ("zone", "longitude", "fits"),
    [
        ("America/Chicago", -93.6, True),
        ("America/Chicago", 93.6, False),
        ("Asia/Urumqi", 87.6, True),
        ("Asia/Shanghai", 75.0, True),
        ("Pacific/Kiritimati", -157.4, True),
        ("Australia/Sydney", -151.2, False),
        ("Europe/London", 0.1, True),
    ],
)
def test_a_longitude_of_the_wrong_sign_is_found(tmp_path: Path, zone: str, longitude: float, fits: bool) -> None:
    """Longitudes of the places from memory; the zones are those of the IANA time zone database."""
    (tmp_path / "keeper.toml").write_text(
        f'zone = "{zone}"\nlatitude = 10\nlongitude = {longitude}\n', encoding="utf-8"
    )
    if fits:
        files.load(tmp_path)
    else:
        with pytest.raises(Unusable, match=r"keeper.toml:3: longitude: noon would be .* h off .* takes a minus"):
            files.load(tmp_path)


@pytest.mark.parametrize("zone", ["EST5EDT", "Singapore", "NZ", "UTC", "Etc/GMT+3", "America/Argentina/Ushuaia"])
def test_any_zone_that_there_is_may_be_the_keepers(tmp_path: Path, zone: str) -> None:
    (tmp_path / "keeper.toml").write_text(f'zone = "{zone}"\n', encoding="utf-8")
    assert files.load(tmp_path).zone == zone


@pytest.mark.parametrize("zone", ["<-03>3", "EST5EDT,M3.2.0,M11.1.0", "../etc/passwd", "a" * 5000, "/etc/localtime"])
def test_what_is_no_zone_is_refused(tmp_path: Path, zone: str) -> None:
    (tmp_path / "keeper.toml").write_text(f'zone = "{zone}"\n', encoding="utf-8")
    (told,) = errors_of(tmp_path)
    assert re.match(r"keeper.toml:1: zone: '.* is not an IANA zone; write it like America/Chicago", told)


def test_a_torn_file_is_named_with_the_line_at_which_it_tears(tmp_path: Path) -> None:
    (tmp_path / "places.toml").write_text('[[places]]\nname = "Roof"\nsurface = "me', encoding="utf-8")
    (told,) = errors_of(tmp_path)
    assert told.startswith("places.toml:3: not TOML: ")


def test_a_file_in_another_encoding_is_named_with_its_line(tmp_path: Path) -> None:
    (tmp_path / "places.toml").write_bytes('[[places]]\nname = "Dachgepäck"\n'.encode("latin-1"))
    assert errors_of(tmp_path) == ["places.toml:2: the file is not UTF-8 text; save it as UTF-8"]


def test_a_folder_in_place_of_a_file_and_a_file_in_place_of_the_folder_are_refused(tmp_path: Path) -> None:
    (tmp_path / "care.toml").mkdir()
    assert errors_of(tmp_path) == ["care.toml: cannot be read: Is a directory"]
    file = tmp_path / "a file"
    file.touch()
    assert errors_of(file)[0] == "species.toml: cannot be read: Not a directory"


# -- places are written


def test_a_place_is_written_and_read_back(tmp_path: Path) -> None:
    settings = files.load(tmp_path)
    roof = Place(
        name='Roof “[b]”, 1\\2 "x"', surface="mesh", capacity=12, clearance_cm=30.5, climbable=True, temperature_c=-2.5
    )
    jar = Place(name="Jar", surface="glass", retired=True)
    for place in (jar, roof):
        settings = files.with_place(settings, place)
    path = files.save_places(settings.places, tmp_path / "new")
    assert files.load(tmp_path / "new").places == [jar, roof]
    assert path.read_text(encoding="utf-8").startswith("# The places")
    settings = files.with_place(settings, msgspec.structs.replace(jar, retired=False))
    files.save_places(settings.places, tmp_path / "new")
    assert [(place.name, place.retired) for place in files.load(tmp_path / "new").places] == [
        ("Jar", False),
        (roof.name, False),
    ]


def test_a_place_that_the_file_would_not_allow_is_not_understood(tmp_path: Path) -> None:
    settings = files.load(tmp_path)
    with pytest.raises(NotUnderstood, match="capacity: must be a whole number of at least 1"):
        files.with_place(settings, Place(name="Roof", surface="mesh", capacity=0))
    with pytest.raises(NotUnderstood, match=r"surface: did you mean 'glass'\?"):
        files.with_place(settings, Place(name="Roof", surface="glas"))
    with pytest.raises(NotUnderstood, match="clearance_cm: must be a number of at least 0"):
        files.with_place(settings, Place(name="Roof", clearance_cm=float("nan")))


def test_a_save_that_fails_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    files.save_places([Place(name="Roof")], tmp_path)
    before = (tmp_path / "places.toml").read_bytes()

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(Unusable, match=r"places could not be written to .*: No space left on device\."):
        files.save_places([Place(name="Jar")], tmp_path)
    assert (tmp_path / "places.toml").read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["places.toml"]


def test_a_folder_that_cannot_be_made_gives_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(Unusable, match="The places could not be written to"):
        files.save_places([Place(name="Roof")], tmp_path / "file")


def test_the_places_are_written_through_a_link_and_the_link_stays(tmp_path: Path) -> None:
    theirs, mine = tmp_path / "dotfiles", tmp_path / "config"
    theirs.mkdir()
    mine.mkdir()
    (theirs / "places.toml").write_text('[[places]]\nname = "Roof"\n', encoding="utf-8")
    (mine / "places.toml").symlink_to("../dotfiles/places.toml")
    settings = files.with_place(files.load(mine), Place(name="Jar", surface="glass"))
    files.save_places(settings.places, mine)
    assert (mine / "places.toml").is_symlink()
    assert [place.name for place in files.load(theirs).places] == ["Roof", "Jar"]


def test_a_folder_that_is_a_link_is_written_into(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    files.save_places([Place(name="Roof")], tmp_path / "link")
    assert (tmp_path / "real" / "places.toml").is_file()
    assert (tmp_path / "link").is_symlink()


def test_a_dead_link_is_named_once(tmp_path: Path) -> None:
    (tmp_path / "keeper.toml").symlink_to(tmp_path / "gone.toml")
    assert errors_of(tmp_path) == ["keeper.toml: is a link that leads nowhere"]
    folder = tmp_path / "folder"
    folder.symlink_to(tmp_path / "nowhere")
    assert errors_of(folder) == [f"{folder}: is a link that leads nowhere"]


def test_a_link_that_leads_in_a_circle_is_refused(tmp_path: Path) -> None:
    (tmp_path / "places.toml").symlink_to(tmp_path / "places.toml")
    (told,) = errors_of(tmp_path)
    assert told.startswith("places.toml: cannot be read: Too many levels of symbolic links")


# -- hostile


@pytest.mark.parametrize("number", ["1" * 100_000, "-" + "1" * 100_000, "1_0" * 50_000])
def test_an_endless_number_is_named_with_its_line(tmp_path: Path, number: str) -> None:
    (tmp_path / "keeper.toml").write_text(f'zone = "UTC"\n\nlatitude = {number}\n', encoding="utf-8")
    assert errors_of(tmp_path) == ["keeper.toml:3: a number has more digits than any setting"]


def test_a_number_too_long_to_be_shown_is_refused(tmp_path: Path) -> None:
    (tmp_path / "keeper.toml").write_text(
        f"latitude = 0x{'f' * 100_000}\nsurprise = 0x{'f' * 100_000}\n", encoding="utf-8"
    )
    unknown, latitude = errors_of(tmp_path)
    assert unknown.startswith("keeper.toml:2: surprise: there is no such key")
    assert latitude == "keeper.toml:1: latitude: number out of range, got an endless number"


@pytest.mark.timeout(60)
@pytest.mark.parametrize(
    ("name", "text", "told"),
    [
        ("care.toml", "\n".join(f"[a{n}]" for n in range(100_000)), "there is no such key"),
        ("species.toml", "\n".join(f"[a{n}]" for n in range(100_000)), "is missing"),
        ("places.toml", "[[places]]\nname = 5\n" * 100_000, "must be a text in quotation marks"),
        ("places.toml", "[[places]]\nname = 'Roof'\n" * 100_000, "appears twice"),
        ("keeper.toml", f"{'k' * 3_000_000} = 1", "there is no such key"),
        ("keeper.toml", f"zone = '{'z' * 3_000_000}'", "is not an IANA zone"),
        ("keeper.toml", f"zone = '''\n{'[' + ' ' * 100_000}\n'''\nspecies = 5", "must be a text in quotation marks"),
        ("keeper.toml", f"species = [{'1,' * 1_000_000}]", "must be a text in quotation marks"),
        ("keeper.toml", "# " + "x" * 5_000_000, "Is larger than settings may be (4 MB)"),
    ],
    ids=range(9),
)
def test_whatever_is_in_a_file_is_refused_in_a_few_sentences(tmp_path: Path, name: str, text: str, told: str) -> None:
    (tmp_path / name).write_text(text, encoding="utf-8")
    errors = errors_of(tmp_path)
    assert 0 < len(errors) <= 41
    assert all(len(line) < 2000 for line in errors)
    assert errors[0].startswith(name)
    assert told in errors[0]
    assert len(errors) == 1 or len(errors) < 20 or errors[-1] == "… and more; correct these first"


@pytest.mark.timeout(60)
def test_ten_thousand_places_are_read(tmp_path: Path) -> None:
    files.save_places([Place(name=f"Spot {n}", surface="mesh", capacity=1) for n in range(10_000)], tmp_path)
    assert len(files.load(tmp_path).places) == 10_000


OLDER_KEYS = """[keys]
walked = "space"
darkened = "d"
clear = "c"
emerged = "e"
fell = "f"
danger = "F"
move = "m"
stage = "s"
new = "n"
pupated = "o"
wings = "w"
lost = "x"
note = "a"
relabel = "L"
undo = "u"
redo = "r,ctrl+r"
next_urgent = "tab"
next_place = "right_square_bracket,l,right"
previous_place = "left_square_bracket,h,left"
down = "j"
up = "k"
search = "slash"
view = "v"
review = "S"
watch = "t"
adults = "b"
health = "i"
plan = "g"
move_log = "y"
places = "p"
help = "question_mark,f1"
quit = "q,ctrl+q"
"""
"""A whole keys.toml as it was before the other screens had keys of their own there."""


def test_an_older_keys_file_is_still_read_and_newer_acts_keep_a_key(tmp_path: Path) -> None:
    (tmp_path / "keys.toml").write_text(OLDER_KEYS, encoding="utf-8")
    keys = files.load(tmp_path).keys
    assert list(clashes(keys)) == []
    assert (keys["redo"], keys["release"]) == ("ctrl+r", "r")
    assert (keys["previous_place"], keys["holds"]) == ("left_square_bracket,left", "h")
    (tmp_path / "keys.toml").write_text("[keys]\nstage = 'h'\n", encoding="utf-8")
    keys = files.load(tmp_path).keys
    assert (keys["stage"], keys["holds"]) == ("h", "f2")
