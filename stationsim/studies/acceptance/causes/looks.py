"""What a crew may look at first when something is suspected: common practice, no source.

Each leaves the station as it is, or names who may do it and how it is made safe first. Local rules
and the makers' instructions come before any of it.
"""

from __future__ import annotations

_LOCKED = "Open nothing before the pump is locked out, its valves are shut and the pressure is off."

LOOKS: dict[str, str] = {
    "sound": (
        "Nothing needs to be looked for; what is unclear is read once more, under the same"
        " conditions."
    ),
    "weak pump": (
        "Compare plate, speed and the size of the impeller on the maker's papers with the order,"
        f" and read the pressure against the closed valve. {_LOCKED}"
    ),
    "valve at a pump not fully open": (
        "Look at the position of the valve beside the pump and count its turns from shut to open;"
        " see that the check valve swings free, from outside by its lever."
    ),
    "valve in the main not fully open": (
        "Walk the main and look at the position of every valve in it, by the turns that each should"
        " have; open slowly and with the pumps off, so that no surge is made."
    ),
    "air trapped in the main": (
        "See that the air valves at the high points are open and work, and pump for longer before"
        " reading again; stand clear of the outlet, and enter no chamber without its permit."
    ),
    "pump turns the wrong way": (
        "Compare the direction at a short start with the arrow, from outside, hands off. Two phases"
        " are changed over by a licensed electrician only, with the supply locked out and proved"
        " dead."
    ),
    "main rougher or smoother than reckoned": (
        "Compare pipe, lining, bore and age with the drawings as built, and reckon again with what"
        " lies there; nothing at the pumps is to be changed for it."
    ),
    "flow meter off": (
        "Check range, bore and units that are set in the meter, that its pipe is full and has its"
        " straight lengths; compare it with the drawdown of the same pump."
    ),
    "gauge on the header off": (
        "Read the gauge with its cock shut and vented, pumps off: it should show nought; measure"
        " the height of its dial, and see that its line is full of water."
    ),
    "gauges at the pumps off": (
        "Read each gauge with its cock shut and vented, pumps off: it should show nought; measure"
        " the height of the dials, and see that their lines are full of water."
    ),
    "gauge at a pump off": (
        "Read the gauge with its cock shut and vented, pump off: it should show nought; change it"
        " for that of another pump and read again."
    ),
    "inflow left out": (
        "With all pumps off, time a rise of the level: it tells the inflow. Look at the plug in the"
        " sewer from above; nobody enters the well for it."
    ),
    "check valve lets water back": (
        "With the idle pump locked out and another running, look at the lever of its check valve,"
        " clear of the lever's swing, and whether the pump turns backwards: one that does must not"
        " be started. Shut its valve and read again before the lock comes off."
    ),
    "area of the well or drop wrong": (
        "Measure the well and the two marks again from above, by tape; take off what stands in it,"
        " and what a bench or a sewer adds. Nobody enters the well for it."
    ),
    "air in a pump or at its inlet": (
        "Listen for crackling, look for whirls at the inlet from above; vent the pump as its maker"
        f" says, and read again at a higher level. {_LOCKED}"
    ),
    "one reading misread": "Read it once more, by somebody else, before anything else is done.",
    "pump delivers less than given": (
        "Without its curve nothing tells a worn pump from a valve that is partly shut, air, or the"
        " wrong direction: look at the valve's position and at the arrow, from outside, hands off."
    ),
    "main takes more than reckoned": (
        "Look at the position of every valve in the main, and at its air valves; stand clear of the"
        " outlet, and enter no chamber without its permit."
    ),
}
"""By cause."""
