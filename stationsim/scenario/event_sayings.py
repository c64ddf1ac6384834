"""What people say of trouble in their own words, and what they are likely to mean by it."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence

from stationsim.scenario.event_words import (
    MACHINE_PHRASES,
    STATION_PHRASES,
    THINGS,
    WHAT_ACCEPTED,
    with_number,
)
from stationsim.scenario.slips import nearest_name

_MACHINE_WORDS = {
    "fails": "fail|failed|failure|trip|trips|tripped|breaks|breaks down|fault|faults|dead",
    "fails to start": "does not start|doesn't start|will not start|won't start|no start|start fails"
    "|failure to start|failed to start",
    "overload": "overloads|overloaded|overcurrent|overload trip|thermal overload|high current"
    "|locked rotor|jams|jammed",
    "clogged to 60 %": "clogs|clogged|clogging|blocked|choked|chokes|partly blocked",
    "ragging 10 % in 2 h": "rags|ragged|ragging|rags up|ragging up|wipes",
    "wearing 5 % in 1000 h": "wear|wears|worn|worn impeller|impeller worn|wears out",
    "turning backwards": "backwards|runs backwards|turns backwards|reversed|reverse rotation"
    "|wrong rotation|rotates backwards|wrong direction|phases swapped|phases crossed",
    "air-bound": "air bound|airbound|air lock|air locked|airlocked|lost prime|loses prime"
    "|gas bound|vapour lock|cavitates",
    "check valve open": "check valve stuck open|check valve fails|check valve leaks"
    "|check valve passing|check valve stuck|non-return valve open|non-return valve fails"
    "|reflux valve open|flap valve open|backflow|runs back",
    "check valve slow by 8 s": "check valve slams|check valve sticks|slow check valve"
    "|non-return valve slow",
    "plug valve closed": "valve closed|valve shut|plug valve shut|discharge valve closed"
    "|discharge valve shut|isolating valve closed|isolation valve closed|gate valve closed"
    "|plug valve left closed|valve left shut",
    "fails to prime": "does not prime|will not prime|won't prime|no prime|cannot prime"
    "|priming fails|prime lost",
    "battery flat": "flat battery|dead battery|battery dead|battery low|no battery|does not crank",
    "high temperature": "hot|overheats|overheated|overheating|high temp|winding temperature"
    "|high winding temperature|thermal trip",
    "seal leak": "leak|leaks|leaking|seal fails|seal failed|moisture|moisture in seal",
    "seal leak into motor": "moisture in motor|water in motor|motor flooded|motor wet|wet motor"
    "|seal leak in motor|seal leak to motor",
    "in hand": "hand|manual|on|run|runs|start|starts|manual on|hand on|in manual",
    "off": "stop|stops|stopped|switched off|locked out|isolated",
    "in auto": "auto|automatic|in automatic|back in auto",
    "out of service": "out|removed|maintenance|repair|under repair|withdrawn|pulled|down",
    "refuelled": "refueled|refilled|filled|fuelled|fueled|topped up|tank filled|fuel delivered",
    "put right": "repaired|mended|fixed|restored|back|ok|serviced|cleared|cleaned|deragged|vented",
    "reset": "reset by hand|is reset|resets|acknowledged",
}
_SENSOR = "(?:level )?(?:signal|sensor|transducer|transmitter|level|probe)s?"
_GRID = "power|mains|grid|electricity|supply"
_MAIN = "(?:force |rising |pressure )?(?:main|pipe)"
_SET = "generator|genset|gen set|standby set"
_HIRED = "(?:mobile|portable|hired|towable|trailer) (?:generator|genset|set)"
_BYPASS = "(?:(?:the )?(?:bypass|hired|portable|trailer|towable|mobile|diesel) )pump"
_FILLED = "refuel(l)?ed|refilled|filled|fuel(l)?ed|topped up|tank filled|fuelling|refuelling"
_PANEL = "controller|plc|rtu|cpu|panel"
_CIRCUIT = "control (?:breaker|fuse|circuit|power|supply|voltage)"
_LINK = "(?:telemetry|scada|comms?|communications?|radio|modem|outstation)(?: link)?|link"
_SWITCH = "transfer switch|ats|changeover(?: switch)?|transfer"
_DOWN = "(?:downstream|receiving)(?: station| plant| works)?"

_STATION_WORDS: dict[str, tuple[str, str, str]] = {
    "grid loss": (
        f"(?:{_GRID})(?: supply)?",
        "cut|loss|lost|failure|fails|failed|out|outage|off|down",
        f"{_GRID}|outage|power outage|black ?out|no ({_GRID})|loss of ({_GRID})|utility outage",
    ),
    "grid sag": (
        f"voltage|{_GRID}",
        "dips?|sags?|flicker",
        "dip|sag|brown ?out|under ?voltage|low voltage|flicker",
    ),
    "phase lost": (
        "one phase|phase",
        "loss|lost|failure|fails|failed|out|missing|gone",
        "single[ -]phas(e|ing)|loss of (a )?phase|(lost|missing) phase",
    ),
    "level signal noisy by 30 mm": (
        _SENSOR,
        "noise|noisy|jumps|jumping|bounces|jitters|erratic",
        "foam|false echo(es)?",
    ),
    "level signal drifting 20 mm in 24 h": (_SENSOR, "drift|drifts|creeps", ""),
    "level signal late by 40 s": (_SENSOR, "lags|lagging|slow|delayed", ""),
    "level signal off by 0.20 m": (
        _SENSOR,
        "offset|wrong|biased|out|reads (high|low)|false|too (high|low)",
        "",
    ),
    "level signal frozen": (_SENSOR, "frozen|freezes|froze|stuck|sticks|hangs|stands still", ""),
    "level signal lost": (_SENSOR, "lost|gone|fails|failed|dead|missing", "no (level )?signal"),
    "controller stopped": (
        _PANEL,
        "stops?|stopped|fails|failed|fault|dead|hangs|halted|crash|crashes|crashed|down|failure",
        "",
    ),
    "control breaker open": (
        _CIRCUIT,
        "trips|tripped|blown|blows|lost|opens?|out|dead|fails|failed|off|loss|failure",
        "loss of control (power|supply)",
    ),
    "telemetry lost": (
        _LINK,
        "lost|fails|failed|down|out|dead|loss|failure|off",
        "(no|loss of) (telemetry|comms|communications?)",
    ),
    "transfer switch stuck": (
        _SWITCH,
        "fails|failed|stuck|sticks|jams|jammed|failure|(does|will) not (transfer|move)",
        "",
    ),
    "generator fails to start": (
        _SET,
        "(does not|doesn't|will not|won't|fails to|failed to) (start|crank)|no start",
        "",
    ),
    "generator late by 45 s": (_SET, "late|slow|starts late|slow to start", ""),
    "generator fails": (
        _SET,
        "fail|fails|failed|trips|tripped|stops|stopped|dead|down|shuts down|failure|fault",
        "",
    ),
    "mobile generator connected": (
        _HIRED,
        "on|arrives|connects?|connected|plugged in|running|hooked up",
        "",
    ),
    "mobile generator disconnected": (
        _HIRED,
        "off|leaves|disconnects?|disconnected|removed|unplugged|taken away",
        "",
    ),
    "bypass pump connected": (
        _BYPASS,
        "on|arrives|connects?|connected|running|hooked up|coupled|on site",
        "(bypass pumping|bypass) (starts|begins|on)",
    ),
    "bypass pump disconnected": (
        _BYPASS,
        "off|leaves|disconnects?|disconnected|removed|taken (away|off)|uncoupled",
        "(bypass pumping|bypass) (stops|ends|off)",
    ),
    "generator refuelled": (_SET, _FILLED, "fuel (delivery|delivered)|diesel delivered"),
    "mobile generator refuelled": (_HIRED, _FILLED, ""),
    "tanker takes 10 m3 in 8 min": (
        "(?:vacuum |suction |road )?tankers?|(?:vacuum|vac|suction|pump) (?:truck|lorry)",
        "(?:takes?|pumps?|sucks?|hauls?|removes?|empties|draws|arrives|comes)\\b.*|[\\d.].*",
        "(?:truck )?haul(?:age|ing)?|tankering|tanker",
    ),
    "force main broken at 40 %": (
        _MAIN,
        "breaks?|bursts?|ruptured?|ruptures|broken",
        f"(burst|broken|ruptured) {_MAIN}",
    ),
    "force main leaking 8 %": (
        _MAIN,
        "leaks?|leaking",
        f"leak (in|of|on) (the )?{_MAIN}|leaking {_MAIN}",
    ),
    "force main plugged to 30 %": (
        _MAIN,
        "plugged|plugs|blocked|clogged|blockage|choked|shut|closed|plugging",
        f"(blocked|plugged|clogged) {_MAIN}",
    ),
    "force main with air of 2 m": (
        _MAIN,
        "air|air[- ]?bound|air[- ]?lock(ed)?",
        "air (pocket )?(in|at) .*|air (pocket|lock|trapped)|trapped air|air valve .*",
    ),
    "downstream dark": (
        _DOWN,
        "out|down|off|fails|failed|closed|shut|dead|lost|power cut|stopped",
        "",
    ),
    "downstream limited to 1 pump": (
        _DOWN,
        "restricted|throttled|full|overloaded|limits|restricts|reduced",
        "",
    ),
}
"""What is meant -> what people call it, what they say of it, and what they say in place of both."""

_STATION_LIKE = tuple(
    (
        meant,
        re.compile(
            f"(the )?({whom})( is)? ({does})" + (f"|{whole}" if whole else ""), re.IGNORECASE
        ),
    )
    for meant, (whom, does, whole) in _STATION_WORDS.items()
)


def near_of_machine(word: str) -> str:
    """Return what somebody is likely to mean that happens to a machine; empty when nobody knows.

    Parameters
    ----------
    word
        What stands behind the name of the machine.
    """
    asked = word.lower().removeprefix("is ")
    for known, others in _MACHINE_WORDS.items():
        if asked in others.split("|"):
            return known
    near = difflib.get_close_matches(asked, MACHINE_PHRASES, n=1, cutoff=0.7)
    if near:
        return with_number(MACHINE_PHRASES[near[0]], near[0])
    words = asked.split()  # a number behind it may be what makes it strange
    for size in range(len(words) - 1, 0, -1):
        near = difflib.get_close_matches(" ".join(words[:size]), MACHINE_PHRASES, 1, 0.8)
        if near and len(near[0].split()) <= size:
            return with_number(MACHINE_PHRASES[near[0]], near[0])
    return ""


def near_of_station(text: str) -> str:
    """Return what somebody is likely to mean that happens to no machine; empty when nobody knows.

    Parameters
    ----------
    text
        What happens, as written.
    """
    asked = text.lower()
    for meant, words in _STATION_LIKE:
        if words.fullmatch(asked):
            return meant
    near = difflib.get_close_matches(asked, STATION_PHRASES, n=1, cutoff=0.75)
    if not near:
        right = [f"{thing} put right" for thing in THINGS]
        return next(iter(difflib.get_close_matches(asked, right, n=1, cutoff=0.8)), "")
    return with_number(STATION_PHRASES[near[0]][0], near[0])


_FLOAT = re.compile(
    r"(?:the |a )?(?:float|floats|float switch)(?: is)? "
    r"(stuck|sticks|hung|hangs|late|put right)(.*)",
    re.IGNORECASE,
)


def float_without_name(text: str, floats: Sequence[str]) -> str:
    """Say which floats there are when a text does not say which float; empty when it is no such.

    Parameters
    ----------
    text
        What happens, as written.
    floats
        Names of the floats at the station.
    """
    found = _FLOAT.fullmatch(text)
    if found is None:
        return ""
    does, more = found.group(1).lower(), found.group(2).strip()
    if does not in ("late", "put right"):
        does, more = "stuck", "up" if more.lower() == "up" else "down"
    if not floats:
        return f"'{text}' does not say which float, and this station has none that can fail"
    whole = f"{floats[0]} {does} {more}".strip()
    return (
        f"'{text}' does not say which float; did you mean '{whole}'? this station has "
        f"{', '.join(floats)}"
    )


def no_such_machine(text: str, subject: str, machines: Sequence[str], *, known: bool) -> str:
    """Say that no machine has a name, and what may be meant.

    Parameters
    ----------
    text
        What happens, as written.
    subject
        The name that no machine has.
    machines
        The names of those that there are.
    known
        Whether what stands behind the name can happen to a machine.
    """
    if not known:
        meant = near_of_station(text)
        if meant == "grid loss":
            return f"'{text}' cannot be read; did you mean 'grid loss'? (as in 'grid loss for 2 h')"
        if meant:
            return f"'{text}' cannot be read; did you mean '{meant}'?"
        asked = text.lower()
        if asked in MACHINE_PHRASES or difflib.get_close_matches(asked, MACHINE_PHRASES, 1, 0.8):
            return f"'{text}' names no pump; this station has {', '.join(machines)}"
    near = nearest_name(subject, machines)
    hint = f"; did you mean '{near}'?" if near else ""
    return f"no pump is called '{subject}'{hint}; this station has {', '.join(machines)}" + (
        "" if known else f"; accepted: {WHAT_ACCEPTED}"
    )
