"""What can hurt on the day of acceptance, and who decides: in lines, and in words of the steps."""

from __future__ import annotations

CAUTIONS = (
    (
        "Local codes, the makers' instructions and licensed practice come first; this sheet is a"
        " reckoning from what was entered, and takes no decision."
    ),
    (
        "Confined space: nobody enters the well, a valve pit or a dry well without permit, gas"
        " test, ventilation, rescue gear and a second person outside. Sewer gas kills without"
        " warning."
    ),
    (
        "Open hatch: guard it and test for gas first; float hook and tape are used from outside."
        " Pumps are lifted by rated, inspected gear; nobody stands under a load."
    ),
    (
        "Pumps start by themselves: lock out and tag out before anybody touches one, in hand or in"
        " auto; tell everybody before a selector is turned or the supply comes back."
    ),
    (
        "Nothing stops a pump in hand at the stop level: somebody stays at its selector and watches"
        " the level."
    ),
    (
        "Electricity: covers of a live panel are opened, currents read and signals simulated only"
        " by somebody licensed for it. No live bridge between terminals; phases are never swapped"
        " live."
    ),
    (
        "Pressure: a pump against a closed valve heats the water and shakes; seconds only. Let"
        " pressure off before a gauge or a coupling is loosened; stand clear of hoses."
    ),
    (
        "Clean water: from a public main only through backflow prevention that its supplier"
        " accepts. With selectors in off and water running somebody stands at the water's valve,"
        " and shuts it at an agreed level."
    ),
    (
        "A plug in the sewer can let go: nobody stands or works downstream of it; watch the level"
        " in the sewer above it."
    ),
    (
        "Tell the control room before alarms are tried, and after. Engines: exhaust outside, hot"
        " and moving parts guarded, fuel away from heat."
    ),
)
"""One line each. Forms and pages show them; a workbook once, on its first sheet."""

FOOTER = (
    "Nobody enters the well or a chamber without permit. Pumps start by themselves: lock out first."
    " Local codes and licensed practice come first."
)
"""The shortest that may stand on a sheet of paper by itself."""

LICENSED = "somebody licensed for the panel"
"""Who works in the panel."""

AT_TEST_POINT = "at the panel's test point; at terminals only with the circuit isolated first"
"""Where a signal is taken away."""

SEAL_TRIED = (
    "by the test point of the seal relay, or a test resistor put in with the circuit isolated"
)
"""How water at a seal probe is simulated: a live bridge beside a pump that runs is none of it."""

BREAKER = "only one that is made to break load"
"""Which main breaker is switched under load."""

WITHOUT_POWER = (
    "Lights, fans, gas detection and call-out may go out with it: nobody is in a chamber or a dry"
    " well, and the control room knows."
)
"""What goes out with the main breaker."""

CLEAR = "with everybody clear and told that pumps start by themselves"
"""How power comes back."""

AT_THE_VALVE = "with somebody at its valve who shuts it at an agreed level"
"""How water runs in while no pump may start."""
