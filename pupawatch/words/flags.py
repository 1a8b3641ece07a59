"""What a flag says: that something in the records cannot all be so, or asks for a second look."""

from pupawatch.care.health import concerns, grade
from pupawatch.care.round import Standing
from pupawatch.model.codes import Flag
from pupawatch.model.settings import Settings
from pupawatch.words.forecast import SIGNS, alive_words

FLAG_WORDS: dict[Flag, str] = {
    "never-found": "where and when it pupated is not recorded",
    "found-twice": "its pupation is entered more than once",
    "formed-backwards": "its pupation interval starts after it ends",
    "hanging-after-formed": "seen as a prepupa after its recorded pupation; the later time counts",
    "seen-before-formed": "a colour stage was recorded before it can have pupated",
    "stage-went-back": "a later entry gives an earlier colour stage",
    "empty-not-emerged": "recorded as empty, but no emergence or loss is recorded",
    "moved-after-emergence": "moved after it had emerged",
    "moved-after-loss": "moved after it was lost",
    "emerged-twice": "its emergence is entered more than once",
    "emerged-before-formed": "it emerged before it can have pupated",
    "emerged-and-lost": "it is recorded both as emerged and as lost",
    "wings-without-emergence": "wings were judged, but no emergence is recorded",
    "wings-told-twice": "its wings have two different entries for one time; the last one counts",
    "marked-before-emergence": "marked before it emerged",
    "released-before-emergence": "released before it emerged",
    "moved-early": "moved before its minimum hanging time was over",
    "unknown-place": "its place is not described in places.toml",
    "unknown-species": "its species has no profile; the default profile is used",
    "dark-too-long": "darkening for longer than usual without turning clear: check it for signs of death or disease",
    "dark-too-early": "darkening or clear far too young: check for disease, for another pupa under this label, "
    "or for a wrong pupation time; the recorded time counts",
    "prepupa-overdue": "still a prepupa, for longer than usual",
    "sick": "signs of disease that may spread: hang nothing healthy beside it",
    "exposed": "hung or dried beside one that may carry the spore parasite (OE): take a tape print before release",
    "wasps": "small parasitoid wasps emerged where it hung when fresh: watch it, away from other fresh pupae",
    "look-again": "a sign was recorded that needs another look",
    "told-differently": "two merged journals differ about it; the less certain version is used",
    "same-label": "another one in your care has the same label; relabel one of them",
    "clock-behind": "the clock was slow when it was found; its hang time counts from the next entry about it",
}
"""Every flag in words."""

OVERDUE_PREPUPA = (
    "straight and limp, with a white thread below it: fly larvae have left it",
    "stopped half-way out of its skin: usually dead",
    "limp and dark: disease; gloves on, take it out in a closed bag",
    "curved, and moving when breathed upon: it is alive, and slow in a cool room; wait",
    "limp, twisted feelers are the usual sign of its last hours before it pupates",
)
"""What to look for. Source: a shop's help page on half-formed pupae, volunteer monitoring guidance; common practice."""


def flag_lines(standing: Standing, settings: Settings) -> list[str]:
    """The flags of one pupa, a line each; a sign of health with what it often means and the next step."""
    told = []
    for flag in standing.flags:
        told.append(FLAG_WORDS[flag])
        if flag == "prepupa-overdue":
            told += OVERDUE_PREPUPA
        if flag == "dark-too-long":
            told += [*([words] if (words := alive_words(standing.alive)) else []), *SIGNS]
        if flag in ("sick", "look-again"):
            told += _signs(standing, flag == "sick", settings)
    return told


def _signs(standing: Standing, sick: bool, settings: Settings) -> list[str]:
    words, pupa = settings.health, standing.pupa
    newest = [finding for finding in pupa.findings if finding.act == pupa.findings[-1].act]
    found = concerns(pupa, words) if sick else [f for f in newest if grade([f.sign], words) == "look-again"]
    lines = {}
    for finding in found:
        sign = words.signs.get(finding.sign)
        name = finding.sign.replace("-", " ")
        lines[finding.sign] = f"{name}: {sign.means}. {sign.do}" if sign else f"{name}: look again tomorrow"
    return list(lines.values())
