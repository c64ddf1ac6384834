"""Exercise runs: what is run at a set time so that a dormant fault is found before it counts.

References
----------
Weekly inspection, and a monthly exercise of at least 30 min at 30 % of the rating or more, are
asked of emergency sets by NFPA 110, clause 8.4: from memory, the edition was not checked. The
exercise of the generator here is without load and does not meet that 30 %. Seven days and minutes
for standby pumps and engine-driven pumps are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Exercise:
    """When what is exercised.

    Parameters
    ----------
    first_clock_s
        The first time, as seconds since midnight before the first day [s].
    every_s
        From one time to the next [s].
    pump_s
        How long each electric pump runs that has not run since the last time [s]; nought for none.
    engine_s
        How long the engine-driven pump runs [s]; nought: it is not exercised.
    generator_s
        How long the fixed generator runs without load [s]; nought: it is not exercised. A loaded
        run is usually asked for, and this is none.
    """

    first_clock_s: float
    every_s: float
    pump_s: float = 0.0
    engine_s: float = 0.0
    generator_s: float = 0.0
