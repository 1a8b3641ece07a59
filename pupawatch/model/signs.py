"""Signs that not every console can show, and what is shown there instead."""

import unicodedata

PLAIN = {
    "≥": ">=", "≤": "<=", "–": "-", "—": "-", "−": "-", "×": "x", "…": "...", "·": "-", "°": "deg ", "º": "o",
    "²": "2", "“": '"', "”": '"', "‘": "'", "’": "'", "→": "->", "←": "<-", "↑": "up", "↓": "down", "✓": "ok", "✗": "x",
    "♀": "female", "♂": "male", "∅": "0", "λ": "lambda", "〃": '"', "±": "+-",
    "◌": "o", "○": "O", "◐": "D", "◉": "C", "◆": "*", "▲": "^", "△": "^", "◢": "/", "◣": "\\", "●": "o", "■": "#",
    "►": "!!", "□": "_", "█": "#", "▄": "#", "▀": "#", "░": ":", "━": "=", "─": "-", "│": "|", "├": "|", "┤": "|",
    "└": "`",
    **dict.fromkeys("▏▎▍▌▋▊▉", "#"),
    **dict.fromkeys("▁▂▃", "."), **dict.fromkeys("▅▆▇", ":"),
}  # fmt: skip
"""In ASCII: for a console or pipe that carries no Unicode. There bytes above 127 may be read in another code page than
they were written in, so not even what the encoding knows is safe."""

OLD_CONSOLE = str.maketrans({
    "◌": "¤", "◐": "◘", "◉": "●", "◆": "*", "△": "∆", "✓": "√", "✗": "x", "◢": "/", "◣": "\\", "∅": "ø", "━": "=",
    **dict.fromkeys("▏▎▍", "▌"), **dict.fromkeys("▋▊▉", "█"), **dict.fromkeys("▁▂▃", "_"), **dict.fromkeys("▅▆▇", "▄"),
})  # fmt: skip
"""Each of one cell and another of one cell: what the fonts of old consoles lack, by what they have. Those hold the
characters of Windows Glyph List 4 (Microsoft, "WGL4 character set"); from memory, not tried in each font."""


def plain(text: str) -> str:
    """A text in ASCII: signs in words or plain signs, letters without their accents, a question mark for the rest."""
    return "".join(PLAIN.get(sign) or _letter(sign) for sign in text)


def _letter(sign: str) -> str:
    bare = unicodedata.normalize("NFKD", sign).encode("ascii", "ignore").decode()
    return bare or ("" if unicodedata.combining(sign) else "?")
