"""Every act of the dashboard: on which screen it can be done, its name in keys.toml, its words, and whether it writes.

One table for all screens. The keys themselves are settings (keys.toml); bindings, the foot of each screen, its help and
the palette all read this table, and so does whoever looks for two acts with one key.
"""

from collections.abc import Collection, Iterator
from typing import NamedTuple


class Act(NamedTuple):
    """name: in keys.toml, the same on every screen that has the act. word: at the foot of the screen, "" to leave it
    out there. help: one line. writes: whether it records something, or leads to what does."""

    name: str
    word: str
    help: str
    writes: bool = False


WALKED = Act("walked", "Visited", "this place is visited, nothing new; go to the next one not visited", True)
DARKENED = Act("darkened", "Darkening", "the selected pupa is darkening", True)
CLEAR = Act("clear", "Clear", "it has turned clear", True)
EMERGED = Act("emerged", "Out", "the butterfly is out", True)
MOVE = Act("move", "Move", "move it; the best place is under the cursor", True)
NEW = Act("new", "New", "a new pupa or prepupa in this place", True)
PUPATED = Act("pupated", "Pupated", "the selected prepupa has pupated", True)
FELL = Act("fell", "Fell", "it fell", True)
DANGER = Act("danger", "Danger", "other danger: choose", True)
HOLDS = Act("holds", "Holds", "it holds where it was hung", True)
AID = Act("aid", "Aid", "it was given a climbing aid, and was not touched", True)
STAGE = Act("stage", "Stage", "another colour stage", True)
WINGS = Act("wings", "Wings", "judge the wings of a butterfly; soft ones: they are full", True)
LOST = Act("lost", "Lost", "it produced no butterfly, or the butterfly died: choose the cause", True)
NOTE = Act("note", "Note", "a note about it", True)
RELABEL = Act("relabel", "Label", "give it another label", True)
BROOD = Act("brood", "Brood", "its brood, for several pupae at once", True)
CHOOSE = Act("choose", "Choose", "choose it for the next act; on the line of a place, all that hang there")
CHOOSE_ALL = Act("choose_all", "", "choose all that the list shows, or let them go")
UNDO = Act("undo", "Undo", "undo the last act, on whatever screen it was done", True)
REDO = Act("redo", "", "redo what was undone last, until something new is done", True)
NEXT_URGENT = Act("next_urgent", "Next", "to the next that needs something, the most urgent first")
NEXT_PLACE = Act("next_place", "", "to the next place")
PREVIOUS_PLACE = Act("previous_place", "", "back to the previous place")
DOWN = Act("down", "", "down one line (or the arrow)")
UP = Act("up", "", "up one line (or the arrow)")
SEARCH = Act("search", "Find", "find: show only what matches")
VIEW = Act("view", "View", "all; only what needs something; only what is soft; finished lately")
ORDER = Act("order", "Order", "order the list: by place, by due day, by hang time, by label")
COPY = Act("copy", "", "copy the selected line, to paste it elsewhere")
WATCH = Act("watch", "Watch", "the watch: new butterflies with their times, and the pupae due next")
ADULTS = Act("adults", "Butterflies", "the living butterflies: sex, wings, marks, release, the data sheet")
HEALTH = Act("health", "Health", "health: signs of disease, quarantine, cleaning")
PLAN = Act("plan", "Plan", "the plan: what to move where, and what to leave alone")
MOVE_LOG = Act("move_log", "Moves", "the moves so far, and how each ended")
PLACES = Act("places", "Places", "the places, to add and edit")
TABLE = Act("table", "Import", "import a table of your own: CSV or a spreadsheet")
REVIEW = Act("review", "Review", "review: success by pupation site and more; how good the forecasts were")
HELP = Act("help", "Help", "the keys and the cautions")
QUIT = Act("quit", "Leave", "leave")
BACK = Act("back", "Back", "back to the previous screen")

ROUND = (
    WALKED, DARKENED, CLEAR, EMERGED, MOVE, NEW, PUPATED, FELL, DANGER, HOLDS, AID, STAGE, WINGS, LOST, NOTE, RELABEL,
    BROOD, CHOOSE, CHOOSE_ALL, UNDO, REDO, NEXT_URGENT, NEXT_PLACE, PREVIOUS_PLACE, DOWN, UP, SEARCH, VIEW, ORDER, COPY,
    WATCH, ADULTS, HEALTH, PLAN, MOVE_LOG, PLACES, REVIEW, TABLE, HELP, QUIT,
)  # fmt: skip

_LIST = (UNDO, REDO, DOWN, UP, HELP, BACK)

_BUTTERFLY = (
    FELL,
    Act("climbed", "Climbed", "it climbed back by itself", True),
    Act("helped", "Helped", "it was helped up", True),
    WINGS,
    Act("judge", "Judge", "judge its wings now", True),
    Act("sex", "Sex", "female or male, with what tells them apart", True),
    Act("mark", "Mark", "mark it; the next code is proposed", True),
    Act("release", "Release", "release it, or record where it is kept", True),
    Act("check", "Check", "look for signs of disease", True),
    LOST,
    NEXT_URGENT,
)

SCREENS: dict[str, tuple[Act, ...]] = {
    "round": ROUND,
    "watch": (EMERGED, *_BUTTERFLY, ADULTS, *_LIST),
    "adults": (
        Act("sheet", "Sheet", "write the data sheet to a file"),
        Act("older", "Older", "also old ones never recorded as released or dead"),
        *_BUTTERFLY,
        *_LIST,
    ),
    "health": (
        Act("check", "Check", "check the one in the first line for signs (or enter there)", True),
        Act("cleaned", "Cleaned", "this place was cleaned: choose how", True),
        Act("quarantine", "Quarantine", "quarantine this place, or end it", True),
        *_LIST,
    ),
    "plan": (
        Act("done", "Done", "done as proposed: record the move (or the climbing aid)", True),
        Act("steps", "Steps", "all the steps and cautions of a proposal (or enter)"),
        Act("figures", "Numbers", "the numbers behind a proposal, or without them"),
        *_LIST,
    ),
    "move_log": (
        HOLDS,
        Act("came_down", "Came down", "it did not hold: rescue it", True),
        Act("by_place", "Place", "only from or to one place"),
        Act("by_method", "Method", "only by one method"),
        Act("early", "Early", "only early ones"),
        Act("emergencies", "Emergency", "only emergencies"),
        *_LIST,
    ),
    "places": (
        Act("edit", "Edit", "edit this place (or enter)", True),
        Act("new_place", "New place", "describe another place", True),
        Act("thermometer", "Thermometer", "the lowest and highest temperature of a day here", True),
        Act("weather", "Coming days", "the temperatures expected outdoors", True),
        Act("later", "Later", "visit it later on the round", True),
        Act("earlier", "Earlier", "visit it earlier on the round", True),
        *_LIST,
    ),
    "table": (Act("bring_in", "Import", "show what comes in, and import it as one act", True), *_LIST),
    "review": (
        Act("next_question", "Next question", "to the next question"),
        Act("previous_question", "Before", "back to the previous question"),
        Act("cross", "× moved", "split each by moved or not"),
        Act("report", "Write report", "write the page as a report, beside the journal"),
        HELP,
        BACK,
    ),
}
"""The acts of each screen, those of the screen itself first."""


ALWAYS = frozenset(act.name for act in ROUND) - {"holds", "aid", "brood", "table"}
"""The acts that keys.toml has always named; of the others an older file cannot know."""


def acts_by_name() -> dict[str, Act]:
    """Every act once, as the first screen that has it words it."""
    found: dict[str, Act] = {}
    for acts in SCREENS.values():
        for act in acts:
            found.setdefault(act.name, act)
    return found


def keys_of(bound: str) -> list[str]:
    """The single keys of an act, as keys.toml writes them: several with commas."""
    return [key.strip() for key in bound.split(",")]


def clashes(keys: dict[str, str]) -> Iterator[tuple[str, str, str, str]]:
    """Where one key would do two acts of a screen: the act, its key, the act that has it already, the screen."""
    told: set[tuple[str, str, str]] = set()
    for screen, acts in SCREENS.items():
        taken: dict[str, str] = {}
        for act in acts:
            for key in keys_of(keys[act.name]) if act.name in keys else []:
                other = taken.setdefault(key, act.name)
                if other != act.name and (act.name, key, other) not in told:
                    told.add((act.name, key, other))
                    yield act.name, key, other, screen


def settled(keys: dict[str, str], own: Collection[str]) -> dict[str, str]:
    """The keys where an older keys.toml of the keeper (``own``: the acts it names) meets acts it cannot know of.

    A key that it gives to an act beside others is left to the newer act; where it is the only one, the newer act gets a
    function key instead. What clashes otherwise stays, to be told.
    """
    told, spare = dict(keys), (f"f{number}" for number in range(2, 13))
    while True:
        pairs = ((key, {act, other}) for act, key, other, _ in clashes(told))
        met = ((key, pair & ALWAYS & set(own), pair - ALWAYS - set(own)) for key, pair in pairs)
        found = next(((key, *mine, *newer) for key, mine, newer in met if mine and newer), None)
        if found is None:
            return told
        key, mine, newer = found
        kept = [one for one in keys_of(told[mine]) if one != key]
        if kept:
            told[mine] = ",".join(kept)
        else:
            told[newer] = ",".join([one for one in keys_of(told[newer]) if one != key] or [next(spare)])
