"""The brood that pupae belong to: brood mates share parents and luck, so the review asks for it."""

from pupawatch.keeper import Keeper
from pupawatch.keeper.drafts import Done
from pupawatch.model.pupa import Pupa
from pupawatch.tui.screens.dialogs import Field, Form


def brood_form(keeper: Keeper, pupa: Pupa) -> Form:
    """A form that puts this pupa, and others named beside it, into a brood in one act."""

    def keep(values: dict[str, str]) -> Done:
        return keeper.broods.belong(values["brood"], keeper.several(values["pupae"]))

    known = keeper.broods.known(keeper.state.pupae.values())
    fields = [
        Field("brood", "Brood (a name of your own)", pupa.brood, known=[*known][::-1]),
        Field("pupae", "Pupae that belong to it (labels, one after the other)", pupa.label),
    ]
    return Form("The brood it belongs to", fields, keep)
