"""All rows of the accuracy table that concern one shaft."""

from typing import Final

from model.accuracy import Check
from model.accuracy_beams import BEAMS, TRADE
from model.accuracy_exact import CLOSED_FORMS, LIBRARIES
from model.accuracy_plies import PLIES
from model.accuracy_solid import SOLIDS

#: In the order they are shown.
ACCURACY_CHECKS: Final[tuple[Check, ...]] = (
    *PLIES.lines,
    *BEAMS.lines,
    *TRADE.lines,
    *CLOSED_FORMS.lines,
    *SOLIDS.lines,
    *LIBRARIES.lines,
)
