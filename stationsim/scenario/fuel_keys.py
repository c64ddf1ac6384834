"""Keys that say whether the fuel of a machine is counted."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

_RATES = ("fuel_rate", "fuel_rates", "fuel_loads")
"""Any of them says what it burns; that rates and loads go together is a rule of theirs."""


def lacks_of_fuel(table: Mapping[str, object]) -> tuple[str, ...]:
    """Return the keys that a machine lacks for its fuel to be counted; none where it is.

    Parameters
    ----------
    table
        Its table, as the file has it.
    """
    lacking = [] if "tank" in table else ["tank"]
    if not any(key in table for key in _RATES):
        lacking.append("fuel_rate")
    return tuple(lacking)
