"""What can go wrong: one catalogue, for scripted events and for random ones alike.

Each entry says whom it befalls, how it is written, what it does to the truth, what the panel sees
of it, and who may put it right. The text of an event is read by this catalogue, ``explain`` prints
it, and a test holds that every entry has its handler in a run.

*Who clears it*: ``by itself`` when its time is over or its condition has gone; ``remotely`` by a
reset, which can be pressed from afar where the panel is made for it ('P2 reset'); ``on site`` by
somebody who stands there ('P2 put right'). A test holds each of the three to what a run does.

Some troubles never go away without a crew (``stays``): a duration may be given for them all the
same, and is when a crew is taken to have mended it.

Common practice, no source, where an entry tells of what a panel does; the sizes are the user's.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

EventKind = Literal[
    "grid loss",
    "out of service",
    "fails",
    "high temperature",
    "seal leak",
    "fails to start",
    "clogged",
    "level signal frozen",
    "level signal lost",
    "hand",
    "off",
    "auto",
    "reset",
    "put right",
    "overload",
    "seal leak into motor",
    "ragging",
    "wearing",
    "turning backwards",
    "air-bound",
    "check valve open",
    "check valve slow",
    "plug valve closed",
    "fails to prime",
    "battery flat",
    "level signal off",
    "level signal drifting",
    "level signal noisy",
    "level signal late",
    "float stuck up",
    "float stuck down",
    "float late",
    "controller stopped",
    "control breaker open",
    "telemetry lost",
    "alarm off",
    "grid sag",
    "phase lost",
    "transfer switch stuck",
    "generator fails",
    "generator fails to start",
    "generator late",
    "mobile generator connected",
    "mobile generator disconnected",
    "bypass pump connected",
    "bypass pump disconnected",
    "refuelled",
    "tanker takes",
    "main air",
    "main leak",
    "main broken",
    "main plugged",
    "downstream dark",
    "downstream limited",
]

Family = Literal["pump", "engine", "instrument", "control", "power", "force main", "people"]
Lasts = Literal["must", "may", "never"]
Clearing = Literal["by itself", "remotely", "on site"]

PUMP, ENGINE, MACHINE = "pump", "engine", "machine"
"""Subjects that are named in the text: an electric pump, the engine-driven pump, either."""

FLOATS = ("start float", "stop float", "high level float", "low level float")
"""The floats that can fail: the two of the backup, and those of the two level alarms."""


@dataclass(frozen=True)
class Amount:
    """A number that goes with an event.

    Parameters
    ----------
    link
        The word before it: ``to 60 %``, ``by 0.20 m``; may be empty.
    quantity
        ``percent``, ``count``, or a kind of quantity of ``units``: ``length``, ``duration``.
    least, most
        Accepted range in SI [any]; percent as a part of one.
    sample
        As it is written: ``60 %``.
    default
        Taken when it is left out; None when it must be given.
    per
        True when a duration follows: ``10 % in 2 h``.
    word
        A word after it: ``pump``, which may have an s.
    signed
        True when it may lie on either side of nought.
    """

    link: str
    quantity: str
    least: float
    most: float
    sample: str
    default: float | None = None
    per: bool = False
    word: str = ""
    signed: bool = False


@dataclass(frozen=True)
class Fault:
    """One entry of the catalogue.

    Parameters
    ----------
    kind
        Its name, as in ``ScriptedEvent.kind``.
    family
        What it belongs to.
    subject
        ``pump``, ``engine`` or ``machine``: named in the text. Else the subject that it always has.
    phrase
        How it is written, behind the name of the machine if there is one; a float's name and an
        alarm's stand for ``{float}`` and ``{alarm}``.
    truth
        What it does.
    seen
        What the panel sees of it.
    clears
        Who may put it right.
    lasts
        Whether a duration must be given, may be, or never is.
    until_reset
        True when 'until reset' may stand behind it.
    amount
        The number that goes with it; None for none.
    trouble
        False for what people do on purpose.
    stays
        True when only a crew ends it: a duration is when one is taken to have mended it, and its
        sample is written without.
    """

    kind: EventKind
    family: Family
    subject: str
    phrase: str
    truth: str
    seen: str
    clears: tuple[Clearing, ...]
    lasts: Lasts = "may"
    until_reset: bool = False
    amount: Amount | None = None
    trouble: bool = True
    stays: bool = False

    @property
    def sample(self) -> str:
        """Return it as it is written, with its number: ``P2 clogged to 60 %``."""
        who = {PUMP: "P2 ", MACHINE: "P2 ", ENGINE: "E1 "}.get(self.subject, "")
        phrase = self.phrase.format(float="start float", alarm="high level")
        amount = self.amount
        number = ""
        if amount is not None:
            number = f" {amount.link} {amount.sample}".replace("  ", " ")
        return f"{who}{phrase}{number}"


def _part(sample: str, link: str = "to", least: float = 0.01, most: float = 0.999) -> Amount:
    return Amount(link, "percent", least, most, sample)


CATALOGUE: tuple[Fault, ...] = (
    # ---------------------------------------------------------------- pumps
    Fault(
        "out of service", "pump", MACHINE, "out of service",
        "taken out of use: it does not run",
        "shown as out of service", ("by itself",), trouble=False,
    ),
    Fault(
        "fails", "pump", MACHINE, "fails",
        "trips; free again by itself after its time, or by a reset",
        "alarm 'pump failed', of an engine 'engine failed', at once", ("by itself", "remotely"),
        until_reset=True,
    ),
    Fault(
        "overload", "pump", PUMP, "overload",
        "its overload relay trips; free again by itself after its time, or by a reset",
        "alarm 'overload' at once", ("by itself", "remotely"), until_reset=True,
    ),
    Fault(
        "high temperature", "pump", MACHINE, "high temperature",
        "trips on hot windings; free again by itself after its time, or by a reset",
        "alarm 'high temperature' at once", ("by itself", "remotely"), "must", until_reset=True,
    ),
    Fault(
        "seal leak", "pump", MACHINE, "seal leak",
        "moisture in the oil chamber of the seal; the pump runs on unless its panel stops it",
        "alarm 'seal leak' at once", ("on site",), "never",
    ),
    Fault(
        "seal leak into motor", "pump", PUMP, "seal leak into motor",
        "moisture in the motor: the panel stops it at once",
        "alarm 'moisture in motor' at once", ("by itself", "on site"), stays=True,
    ),
    Fault(
        "fails to start", "pump", MACHINE, "fails to start",
        "does not start when called; an engine cranks in vain",
        "nothing until it is called; then no run signal, and 'pump failed' after the waiting time; "
        "of an engine 'engine failed' after its last try to crank",
        ("by itself", "on site"),
    ),
    Fault(
        "clogged", "pump", MACHINE, "clogged",
        "rags hold it back: that part of its flow is left at the same head",
        "nothing but a level that falls too slowly", ("by itself", "on site"),
        amount=_part("60 %"),
    ),
    Fault(
        "ragging", "pump", PUMP, "ragging",
        "rags gather while it runs: it loses that part of its flow in each such time of running, "
        "until they fall off at a stop, reversing helps, or a crew clears it; it may trip the "
        "overload",
        "nothing, until the overload trips", ("by itself", "on site"),
        amount=Amount("", "percent", 0.01, 0.5, "10 % in 2 h", per=True),
    ),
    Fault(
        "wearing", "pump", PUMP, "wearing",
        "its head and flow grow less with the hours that it runs, in steps of one hundredth",
        "nothing but longer runs", ("by itself", "on site"),
        amount=Amount("", "percent", 0.01, 0.9, "5 % in 1000 h", per=True), stays=True,
    ),
    Fault(
        "turning backwards", "pump", PUMP, "turning backwards",
        "two phases are crossed: it gives that part of its flow and of its head, without a sound",
        "nothing: the run signal is there", ("by itself", "on site"),
        amount=Amount("to", "percent", 0.01, 0.999, "50 %", default=0.5), stays=True,
    ),
    Fault(
        "air-bound", "pump", PUMP, "air-bound",
        "it runs and moves nothing, until it has stood under water long enough or is vented",
        "the run signal is there; 'no flow' after the waiting time where the panel looks for it",
        ("by itself", "on site"),
    ),
    Fault(
        "check valve open", "pump", PUMP, "check valve open",
        "while it stands, water runs back through it: part of what others pump, and then what "
        "stands in the main; the number is the part of its own flow that runs back",
        "nothing but short cycles and a level that does not fall", ("by itself", "on site"),
        amount=Amount("to", "percent", 0.01, 1.0, "40 %", default=0.5),
    ),
    Fault(
        "check valve slow", "pump", PUMP, "check valve slow",
        "after each stop water runs back through it for so long",
        "nothing", ("by itself", "on site"),
        amount=Amount("by", "duration", 0.1, 600.0, "8 s"), stays=True,
    ),
    Fault(
        "plug valve closed", "pump", PUMP, "plug valve closed",
        "the valve behind it was left shut: it runs and moves nothing; with a number, only that "
        "part of its flow is left",
        "the run signal is there; 'no flow' after the waiting time where the panel looks for it",
        ("by itself", "on site"),
        amount=Amount("to", "percent", 0.0, 0.999, "30 %", default=0.0), stays=True,
    ),
    # ---------------------------------------------------------------- engine-driven pump
    Fault(
        "fails to prime", "engine", ENGINE, "fails to prime",
        "the engine runs and its pump draws no water",
        "the engine runs; it fails when priming has lasted too long", ("by itself", "on site"),
    ),
    Fault(
        "battery flat", "engine", ENGINE, "battery flat",
        "the engine does not crank at all",
        "nothing until it is called or exercised", ("by itself", "on site"),
    ),
    # ---------------------------------------------------------------- instruments
    Fault(
        "level signal frozen", "instrument", "level sensor", "level signal frozen",
        "the level signal stands still at what it shows",
        "a level that does not change", ("by itself", "on site"),
    ),
    Fault(
        "level signal lost", "instrument", "level sensor", "level signal lost",
        "there is no level signal",
        "alarm 'level signal failed' at once", ("by itself", "on site"),
    ),
    Fault(
        "level signal off", "instrument", "level sensor", "level signal off",
        "the level signal is wrong by a constant: silt, a lost vent tube",
        "a wrong level", ("by itself", "on site"),
        amount=Amount("by", "length", -20.0, 20.0, "0.20 m", signed=True),
    ),
    Fault(
        "level signal drifting", "instrument", "level sensor", "level signal drifting",
        "the level signal goes wrong by so much in each such time",
        "a level that grows wrong", ("by itself", "on site"),
        amount=Amount("", "length", -20.0, 20.0, "20 mm in 24 h", per=True, signed=True),
    ),
    Fault(
        "level signal noisy", "instrument", "level sensor", "level signal noisy",
        "the level signal jumps about the truth: foam, a false echo; the number is the standard "
        "deviation",
        "a level that jumps", ("by itself", "on site"),
        amount=Amount("by", "length", 1e-4, 5.0, "30 mm"),
    ),
    Fault(
        "level signal late", "instrument", "level sensor", "level signal late",
        "the level signal shows what was so long ago",
        "a level that lags", ("by itself", "on site"),
        amount=Amount("by", "duration", 0.1, 86400.0, "40 s"),
    ),
    Fault(
        "float stuck up", "instrument", "float", "{float} stuck up",
        "the float shows water whatever the level: hung up in rags",
        "a float that is covered", ("by itself", "on site"),
    ),
    Fault(
        "float stuck down", "instrument", "float", "{float} stuck down",
        "the float shows no water whatever the level: grease holds it",
        "a float that is uncovered", ("by itself", "on site"),
    ),
    Fault(
        "float late", "instrument", "float", "{float} late",
        "the float moves so long after the water has passed it",
        "a float that lags", ("by itself", "on site"),
        amount=Amount("by", "duration", 0.1, 86400.0, "60 s"),
    ),
    # ---------------------------------------------------------------- control
    Fault(
        "controller stopped", "control", "panel", "controller stopped",
        "nobody decides: pumps in auto stop, floats take over where there are any, hands still "
        "work",
        "alarm 'controller stopped' at once", ("by itself", "on site"),
    ),
    Fault(
        "control breaker open", "control", "panel", "control breaker open",
        "no contactor holds: no electric pump runs, in hand neither; floats and alarms that share "
        "its supply are dead too",
        "alarm 'control power failed', if the alarms have a supply of their own",
        ("by itself", "on site"),
    ),
    Fault(
        "telemetry lost", "control", "telemetry", "telemetry lost",
        "alarms are raised at the station and reach nobody outside",
        "alarm 'telemetry lost' far away, after its delay", ("by itself", "on site"),
    ),
    Fault(
        "alarm off", "control", "alarm", "{alarm} alarm off",
        "somebody switched the alarm off: it is not raised",
        "nothing", ("by itself", "on site"),
    ),
    # ---------------------------------------------------------------- power
    Fault(
        "grid loss", "power", "grid", "grid loss",
        "the supply from the grid fails",
        "alarm 'power failed' after its delay", ("by itself",), "must",
    ),
    Fault(
        "grid sag", "power", "grid", "grid sag",
        "the voltage dips for a moment: motors that do not ride through it drop out, or trip",
        "pumps that stop, and no outage; alarm 'low voltage' where a relay latches",
        ("by itself", "remotely"), "must",
    ),
    Fault(
        "phase lost", "power", "grid", "phase lost",
        "one phase is gone: the phase relay stops every motor and lets none start",
        "alarm 'phase lost' at once; of a grid that is lost, when it is back", ("by itself",),
        "must",
    ),
    Fault(
        "transfer switch stuck", "power", "transfer switch", "transfer switch stuck",
        "it does not move: the generator runs and feeds nobody, or the station stays on it",
        "nothing until the next transfer; then 'transfer failed'", ("by itself", "on site"),
    ),
    Fault(
        "generator fails", "power", "generator", "generator fails",
        "it stops, and does not run again until it is reset",
        "alarm 'generator failed' at once", ("by itself", "remotely", "on site"),
        until_reset=True,
    ),
    Fault(
        "generator fails to start", "power", "generator", "generator fails to start",
        "it cranks in vain: a flat battery, no fuel in the line",
        "nothing until it is called or exercised; then 'generator failed'",
        ("by itself", "on site"),
    ),
    Fault(
        "generator late", "power", "generator", "generator late",
        "it needs so much longer to run up",
        "a start that takes too long", ("by itself", "on site"),
        amount=Amount("by", "duration", 0.1, 86400.0, "45 s"),
    ),
    Fault(
        "mobile generator connected", "power", "mobile generator", "mobile generator connected",
        "a mobile set is connected and runs: it feeds the station",
        "known on site; the panel finds its busbar live", ("on site",), "never", trouble=False,
    ),
    Fault(
        "mobile generator disconnected", "power", "mobile generator",
        "mobile generator disconnected",
        "the mobile set is stopped at once, and the busbar is dead while it is taken off and the "
        "supply changed back (the duration; without one, the break of the transfer switch)",
        "known on site; the panel finds its busbar dead for a while", ("on site",), trouble=False,
    ),
    Fault(
        "bypass pump connected", "people", "bypass pump", "bypass pump connected",
        "the bypass pump stands at its connection and starts by its own floats",
        "known on site", ("on site",), "never", trouble=False,
    ),
    Fault(
        "bypass pump disconnected", "people", "bypass pump", "bypass pump disconnected",
        "the bypass pump is stopped and taken off",
        "known on site", ("on site",), "never", trouble=False,
    ),
    Fault(
        "refuelled", "people", "generator or engine", "refuelled",
        "somebody fills its tank: stopped and cooled, unless its maker allows otherwise, as some "
        "do for a fixed set with a base tank (this event stops nothing); one that stood for want "
        "of fuel can run again",
        "known on site", ("on site",), "never", trouble=False,
    ),
    Fault(
        "tanker takes", "people", "tanker", "tanker takes",
        "a tanker takes that much out of the well, evenly, in that time",
        "known on site", ("on site",), "never",
        amount=Amount("", "volume", 0.1, 60.0, "10 m3 in 8 min", per=True), trouble=False,
    ),
    # ---------------------------------------------------------------- force main
    Fault(
        "main air", "force main", "force main", "force main with air",
        "air at a high point costs so much head, until the air valve has let it out (the "
        "duration), or for good when that valve is shut",
        "nothing but longer runs", ("by itself", "on site"),
        amount=Amount("of", "length", 0.01, 200.0, "2 m"),
    ),
    Fault(
        "main leak", "force main", "force main", "force main leaking",
        "a small leak: that part of what is pumped leaves the main on its way; head and flow of "
        "the pumps stay as they were",
        "nothing at the station; the meter at the far end tells of less", ("by itself", "on site"),
        amount=_part("8 %", "", 0.001, 0.5),
    ),
    Fault(
        "main broken", "force main", "force main", "force main broken",
        "all that is pumped leaves at that part of the way: less head, more flow",
        "nothing at the station; the meter at the far end tells of nothing",
        ("by itself", "on site"),
        amount=_part("40 %", "at", 0.0, 1.0),
    ),
    Fault(
        "main plugged", "force main", "force main", "force main plugged",
        "it loses at that part of a flow what it lost at the whole; plain flows shrink to that "
        "part; without a number it is shut",
        "nothing but longer runs", ("by itself", "on site"),
        amount=Amount("to", "percent", 0.0, 0.999, "30 %", default=0.0),
    ),
    Fault(
        "downstream dark", "force main", "downstream station", "downstream dark",
        "the station that receives cannot take anything: the panel holds all electric pumps in "
        "auto",
        "shown on the panel", ("by itself", "on site"),
    ),
    Fault(
        "downstream limited", "force main", "downstream station", "downstream limited",
        "the station that receives takes no more than so many pumps at once",
        "shown on the panel", ("by itself", "on site"),
        amount=Amount("to", "count", 1.0, 12.0, "1 pump", word="pump"),
    ),
    # ---------------------------------------------------------------- people
    Fault(
        "hand", "people", MACHINE, "in hand",
        "a person runs it whatever the level, for the stated time or until somebody sets it back",
        "shown on the panel", ("on site",), trouble=False,
    ),
    Fault(
        "off", "people", MACHINE, "off",
        "a person sets it to off, for the stated time or until somebody sets it back",
        "shown on the panel", ("on site",), trouble=False,
    ),
    Fault(
        "auto", "people", MACHINE, "in auto",
        "a person gives it back to the controller",
        "shown on the panel", ("on site",), "never", trouble=False,
    ),
    Fault(
        "reset", "people", "machine or generator", "reset",
        "a person clears a trip that waits for it",
        "shown on the panel", ("remotely",), "never", trouble=False,
    ),
    Fault(
        "put right", "people", "anything", "put right",
        "a crew on site has mended whatever stood wrong with it; a trip still wants its reset",
        "nothing", ("on site",), "never", trouble=False,
    ),
)  # fmt: skip

BY_KIND: dict[str, Fault] = {fault.kind: fault for fault in CATALOGUE}
"""Kind -> entry."""
