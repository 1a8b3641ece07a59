"""The look of the dashboard: two themes of its own, and a colour for each piece of advice in every theme.

``dusk`` is dark, ``noon`` light. Every word keeps a contrast of at least 4.5:1 (WCAG 2) on the background, the panel
and the selected line. The colours of the advice were found by search: as far apart as can be for normal, protan, deutan
and tritan sight (Machado et al. 2009, distance in CAM02-UCS). ``tests/tui/test_look.py`` measures both.
"""

from typing import NamedTuple

from textual.theme import Theme

DUSK, NOON = "dusk", "noon"
ANSI = ("ansi-dark", "ansi-light")


class _Paint(NamedTuple):
    """The colours of a look. seal: what stands on the filled badge of a rescue. sick: also for refusals and errors."""

    text: str
    muted: str
    key: str
    seal: str
    rescue: str
    sick: str
    leave: str
    soon: str
    care: str
    free: str
    wait: str


_DARK = _Paint(
    text="#eef1f3", muted="#a9b3bb", key="#c4e3fe", seal="#ffffff", rescue="#d31b26", sick="#ffa3ad",
    leave="#fdffb7", soon="#f18f1f", care="#cf92f0", free="#0cc797", wait="#c4e3fe",
)  # fmt: skip
_LIGHT = _Paint(
    text="#14181b", muted="#56606a", key="#052748", seal="#ffffff", rescue="#8f223d", sick="#8f223d",
    leave="#815600", soon="#3f250d", care="#8832d6", free="#05685f", wait="#052748",
)  # fmt: skip
_ANSI_DARK = _Paint(
    text="ansi_default", muted="ansi_white", key="ansi_bright_cyan", seal="ansi_bright_white", rescue="ansi_red",
    sick="ansi_bright_red", leave="ansi_bright_yellow", soon="ansi_yellow", care="ansi_bright_magenta",
    free="ansi_bright_green", wait="ansi_bright_cyan",
)  # fmt: skip
_ANSI_LIGHT = _Paint(
    text="ansi_default", muted="ansi_bright_black", key="ansi_blue", seal="ansi_bright_white", rescue="ansi_red",
    sick="ansi_red", leave="ansi_bright_red", soon="ansi_magenta", care="ansi_bright_magenta", free="ansi_bright_blue",
    wait="ansi_blue",
)  # fmt: skip
_OF_THEME = {"ansi-dark": _ANSI_DARK, "ansi-light": _ANSI_LIGHT}


def _theme(name: str, paint: _Paint, background: str, panel: str, selected: str, line: str) -> Theme:
    return Theme(
        name=name,
        primary=paint.key,
        secondary=paint.muted,
        accent=paint.key,
        warning=paint.soon,
        error=paint.sick,
        success=paint.free,
        foreground=paint.text,
        background=background,
        surface=background,
        panel=panel,
        boost=panel,
        dark=name == DUSK,
        variables={
            "text": paint.text,
            "line": line,
            "selected": selected,
            "border": paint.key,
            "border-blurred": line,
            "block-cursor-foreground": paint.text,
            "block-cursor-background": selected,
            "block-cursor-blurred-foreground": paint.text,
            "block-cursor-blurred-background": selected,
            "block-hover-background": panel,
            "scrollbar": line,
            "scrollbar-hover": paint.muted,
            "scrollbar-active": paint.muted,
            "scrollbar-background": background,
            "scrollbar-background-hover": background,
            "scrollbar-background-active": background,
            "scrollbar-corner-color": background,
            "link-background-hover": selected,
            "link-color-hover": paint.text,
            "input-cursor-background": paint.text,
            "input-cursor-foreground": background,
            "input-selection-background": selected,
            "input-selection-foreground": paint.text,
        },
    )


THEMES = (
    _theme(DUSK, _DARK, background="#12161a", panel="#1b2228", selected="#2c3a46", line="#3a4650"),
    _theme(NOON, _LIGHT, background="#fbfbf8", panel="#f0f1ec", selected="#d9e4ee", line="#c9ccc4"),
)


def variables(theme: Theme, no_color: bool) -> dict[str, str]:
    """What the style sheet and the words of every screen are painted with, in this theme.

    Another theme than ours and the ansi ones gets the colours of ours that is dark or light as it is. Without colour
    only weight is left: what asks for something is as bright as the text, what is calm is muted.
    """
    paint = _OF_THEME.get(theme.name, _DARK if theme.dark else _LIGHT)
    if no_color:
        back = "ansi_default" if theme.ansi else theme.background or "#000000"
        paint = _Paint(paint.text, paint.muted, paint.text, back, *[paint.text] * 4, *[paint.muted] * 3)
    painted = {
        "text-muted": paint.muted,
        "text-disabled": paint.muted,
        "text-primary": paint.wait,
        "text-accent": paint.key,
        "text-warning": paint.soon,
        "text-error": paint.sick,
        "text-success": paint.free,
    }
    if theme.ansi:
        painted |= {"line": "ansi_bright_black", "selected": "ansi_default", "scrollbar": "ansi_bright_black"}
        painted |= {"scrollbar-background": "ansi_default"}
    elif theme.name not in (DUSK, NOON):
        ours = THEMES[0 if theme.dark else 1]
        painted |= {name: ours.variables[name] for name in ("line", "selected")}
    return painted | {f"advice-{name}": colour for name, colour in paint._asdict().items()}


ADVICE = {
    "rescue": "bold $advice-seal on $advice-rescue",
    "sick": "bold $advice-sick",
    "leave": "bold $advice-leave",
    "soon": "bold $advice-soon",
    "care": "$advice-care",
    "free": "$advice-free",
    "wait": "$advice-wait",
    "none": "bold $text-muted",
}
"""How the word of each piece of advice is drawn. A rescue is the one filled badge on the page."""

CALM, HEAD = "$text-muted", "bold $text-muted"
"""What asks for nothing; the small heading of a part."""
