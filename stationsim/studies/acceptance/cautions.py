"""What stands on every sheet of the day: what can hurt, and who decides."""

CAUTIONS = (
    (
        "Local codes, the makers' instructions and licensed practice come first; this sheet is a"
        " reckoning from what was entered, and takes no decision."
    ),
    (
        "Confined space: nobody enters the well or a valve pit without permit, gas test,"
        " ventilation, rescue gear and a second person outside. Sewer gas kills without warning."
    ),
    (
        "Pumps start by themselves: lock out and tag out before anybody touches one, in hand or in"
        " auto; and say so to everybody before a selector is turned back."
    ),
    (
        "Electricity: covers of a live panel are opened, and currents read, only by somebody"
        " licensed for it. Phases are never swapped live."
    ),
    (
        "Pressure: a pump against a closed valve heats the water and shakes; seconds only. Let"
        " pressure off before a gauge or a coupling is loosened; stand clear of hoses."
    ),
    (
        "Lifting: pumps are lifted by rated, inspected gear; nobody stands under a load. Covers off"
        " means a fall guard on."
    ),
    "Engines: exhaust outside, hot parts and moving parts guarded, fuel away from heat.",
)
"""One line each; they stand on every form, and on the page."""
