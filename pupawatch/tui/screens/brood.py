"""The brood that pupae belong to: brood mates share parents and luck, so the review asks for it."""

from collections.abc import Sequence

from pupawatch.keeper import Keeper
from pupawatch.keeper.drafts import Done
from pupawatch.model.pupa import Pupa
from pupawatch.tui.screens.dialogs import Field, Form


def brood_form(keeper: Keeper, whom: Sequence[Pupa]) -> Form:
    """A form that puts these pupae, and others named beside them, into a brood in one act."""

    def keep(values: dict[str, str]) -> Done:
        return keeper.broods.belong(values["brood"], keeper.several(values["pupae"]))

    labels = ", ".join(pupa.label for pupa in whom)
    known = keeper.broods.known(keeper.state.pupae.values())
    fields = [
        Field("brood", "Brood (a name of your own)", whom[0].brood, known=[*known][::-1]),
        Field("pupae", "Pupae that belong to it (labels, or a range as in M41-M44)", labels),
    ]
    return Form("The brood it belongs to", fields, keep)
