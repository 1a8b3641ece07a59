"""The cells of a table: what says nothing, and what a spreadsheet must not take for a formula."""

NOTHING = frozenset({"", "na", "n/a", "-", "?", "none"})
"""Cells that say nothing, as met in real rearing files."""
_FORMULA = ("=", "+", "-", "@", "\t", "'")


def guarded(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula, and reading not for nothing; reading takes the guard off."""
    return f"'{cell}" if cell[:1] in _FORMULA or (cell and cell.lower() in NOTHING) else cell


def unguarded(cell: str) -> str:
    """What was in a cell before it was guarded."""
    return cell[1:] if cell[:1] == "'" and guarded(cell[1:]) == cell else cell
