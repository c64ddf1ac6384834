"""The kinds of values a scenario holds, each with its accepted range.

A quantity is text with a unit. Each kind below turns such text into a float in SI, refuses a bare
number, a unit of another kind and a magnitude that no station has, and says in each case what is
accepted. In the JSON Schema they are strings with an example.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Annotated, Any, Literal

from pydantic import PlainValidator, ValidationInfo, WithJsonSchema
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from stationsim import units
from stationsim.errors import QuantityError

SYSTEM = "system"
"""Key of the validation context that holds the units of the file: ``si`` or ``us``."""

_US_UNITS = {
    "m": "ft",
    "mm": "in",
    "m2": "ft2",
    "ha": "acre",
    "m3": "gal",
    "m3/s": "gpm",
    "W": "hp",
    "m2/s": "ft2/s",
    "m/(m3/s)": "ft/gpm",
    "m/(m3/s)^2": "ft/gpm^2",
    "degC": "degF",
    "K": "degF",
    "kW": "hp",
    "m/s": "ft/s",
    "kg m2": "lb ft2",
    "kPa": "psi",
}
"""Unit in which a range is told besides in a file in US units; times, speeds of rotation and
electrical kinds need no other."""

YEAR_S = 365.25 * 86400.0


def refuse(reason: str, accepted: str = "", fix: str = "") -> PydanticCustomError:
    """Return the error that says what is wrong with a value, what is accepted, and the remedy.

    Parameters
    ----------
    reason
        What is wrong, without a final stop.
    accepted
        What is accepted, when the reason does not say it.
    fix
        What to do about it.
    """
    return PydanticCustomError(
        "stationsim", "{reason}", {"reason": reason, "accepted": accepted, "fix": fix}
    )


@dataclass(frozen=True)
class Quantity:
    """Reads text with a unit as a float in SI.

    Parameters
    ----------
    kind
        What is measured.
    low, high
        Accepted range, in SI.
    unit
        Unit in which the range is told.
    example
        A well-written value.
    open_low
        True when ``low`` itself is not accepted.
    low_unit
        Unit in which the lower end of the range is told; ``unit`` when left out.
    us_unit
        Unit in which the range is told besides in a file in US units; when left out, the one that
        goes with ``unit``.
    """

    kind: units.Kind
    low: float
    high: float
    unit: str
    example: str
    open_low: bool = False
    low_unit: str = ""
    us_unit: str = ""

    def read(self, value: object, system: units.System = "si") -> float:
        """Return the value in SI, or say what is wrong with it, in the units of the file too."""
        if not isinstance(value, str):
            found = "a plain number" if _is_number(value) else _what(value)
            reason = f"{found} where {units.with_article(self.kind)} with its unit is needed"
            fix = f'write it as text, such as "{self.example}"'
            raise refuse(reason, units.accepted(self.kind), fix)
        try:
            number = units.parse(value, self.kind)
        except QuantityError as error:
            raise refuse(str(error)) from error
        if number < self.low or number > self.high or (self.open_low and number == self.low):
            low_unit = self.low_unit or self.unit
            low = f"{units.from_si(self.low, low_unit, self.kind):.6g}"
            high = f"{units.from_si(self.high, self.unit, self.kind):.6g} {self.unit}"
            word = "more than" if self.open_low else "from"
            between = f" {self.low_unit} to " if self.low_unit else " to "
            also = self._in_us_units() if system == "us" else ""
            raise refuse(f"{self.kind} out of range", f"{word} {low}{between}{high}{also}")
        return number

    def _in_us_units(self) -> str:
        """Return the range in US units in brackets, each end rounded inwards; empty for times."""
        unit = self.us_unit or _US_UNITS.get(self.unit, "")
        if not unit:
            return ""
        low = units.limit_text(self.low, unit, self.kind, least=True)
        high = units.limit_text(self.high, unit, self.kind, least=False)
        return f" ({low} to {high} {unit})"

    def _validate(self, value: object, info: ValidationInfo) -> float:
        return self.read(value, _system(info))

    @property
    def json_schema(self) -> dict[str, Any]:
        """What the JSON Schema says of it."""
        return {
            "type": "string",
            "examples": [self.example],
            "x-quantity": self.kind,
            "x-units": units.accepted(self.kind),
        }

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        del source, handler
        return core_schema.with_info_plain_validator_function(self._validate)

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        del schema, handler
        return self.json_schema


@dataclass(frozen=True)
class Number:
    """Reads a plain number.

    Parameters
    ----------
    low, high
        Accepted range.
    open_low
        True when ``low`` itself is not accepted.
    percent
        True when ``"96 %"`` is read too.
    """

    low: float
    high: float
    open_low: bool = False
    percent: bool = False

    def read(self, value: object) -> float:
        """Return the number, or say what is wrong with it."""
        found = value
        if self.percent and isinstance(value, str) and value.strip().endswith("%"):
            try:
                found = float(value.strip()[:-1]) / 100.0
            except ValueError:
                found = value
        if isinstance(found, bool) or not isinstance(found, int | float):
            accepted = "a plain number" + (' or a share such as "96 %"' if self.percent else "")
            raise refuse(f"{_what(value)} where a number is needed", accepted)
        if isinstance(found, float) and not math.isfinite(found):
            raise refuse(f"'{found}' is not a finite number")
        if found < self.low or found > self.high or (self.open_low and found == self.low):
            word = "more than" if self.open_low else "from"
            raise refuse("number out of range", f"{word} {self.low:g} to {self.high:g}")
        return float(found)

    @property
    def json_schema(self) -> dict[str, Any]:
        """What the JSON Schema says of it."""
        schema: dict[str, Any] = {"type": "number", "maximum": self.high}
        schema["exclusiveMinimum" if self.open_low else "minimum"] = self.low
        if self.percent:
            return {"anyOf": [schema, {"type": "string", "examples": ["96 %"]}]}
        return schema

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        del source, handler
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        del schema, handler
        return self.json_schema


@dataclass(frozen=True)
class Whole:
    """Reads a plain whole number.

    Parameters
    ----------
    low, high
        Accepted range.
    even
        True when only even ones are accepted.
    only
        The few numbers that are accepted; empty for all of the range.
    """

    low: int
    high: int
    even: bool = False
    only: tuple[int, ...] = ()

    def read(self, value: object) -> int:
        """Return the number, or say what is wrong with it."""
        accepted = f"{'even, ' if self.even else ''}from {self.low} to {self.high}"
        if self.only:
            accepted = " or ".join(f"{one}" for one in self.only)
        if isinstance(value, bool) or not isinstance(value, int):
            raise refuse(f"{_what(value)} where a whole number is needed", accepted)
        if self.only and value not in self.only:
            raise refuse("is none of the accepted numbers", accepted)
        if not self.low <= value <= self.high:
            raise refuse("whole number out of range", accepted)
        if self.even and value % 2:
            raise refuse("odd where an even number is needed", accepted)
        return value

    @property
    def json_schema(self) -> dict[str, Any]:
        """What the JSON Schema says of it."""
        schema: dict[str, Any] = {"type": "integer", "minimum": self.low, "maximum": self.high}
        if self.even:
            schema["multipleOf"] = 2
        if self.only:
            schema["enum"] = list(self.only)
        return schema

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        del source, handler
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        del schema, handler
        return self.json_schema


def _read_count(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise refuse(f"{_what(value)} where a whole number is needed")
    if not 0 <= value < 2**63:
        raise refuse("whole number out of range", "from 0 to 2^63 - 1")
    return value


def read_clock(value: object) -> float:
    """Return a time of the day in seconds since midnight [s]; its end is 24:00.

    Parameters
    ----------
    value
        What stands in the file: ``22:00``.

    Raises
    ------
    PydanticCustomError
        When it is no time of the day.
    """
    found = re.fullmatch(r"(\d\d?):(\d\d)", value.strip()) if isinstance(value, str) else None
    if found is None:
        raise refuse(f"{_what(value)} where a time of the day is needed", '"00:00" to "24:00"')
    hour, minute = int(found.group(1)), int(found.group(2))
    if minute > 59 or hour * 60 + minute > 1440:
        raise refuse(f"'{value}' is no time of the day", '"00:00" to "24:00"')
    return hour * 3600.0 + minute * 60.0


def _read_flow_or_factor(
    value: object, info: ValidationInfo
) -> tuple[Literal["flow", "factor"], float]:
    """Read one value of a daily pattern: a flow with its unit, or a plain factor."""
    if isinstance(value, str):
        return "flow", _FLOW.read(value, _system(info))
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise refuse(f"{_what(value)} where a flow or a factor is needed", _flow_or_factor())
    if not 0.0 <= value <= 1e6:
        raise refuse("factor out of range", "from 0 to 1e6")
    return "factor", float(value)


def _flow_or_factor() -> str:
    return f'a flow ({units.accepted("flow")}), or a plain factor when "mean" is given'


def _read_moment(value: object) -> datetime:
    """Read the start of the episode: local time with its offset; no offset means +00:00."""
    moment = value
    if isinstance(value, str):
        # fromisoformat takes more forms than anybody should have to guess at
        if not re.fullmatch(r"\d{4}-\d\d-\d\d([T ]\d\d:\d\d(:\d\d)?(Z|[+-]\d\d:\d\d)?)?", value):
            raise refuse(f"'{_short(value)}' is no date and time", _MOMENT)
        try:
            moment = datetime.fromisoformat(value)
        except ValueError as error:
            raise refuse(f"'{value}' is no date and time of the calendar", _MOMENT) from error
    elif isinstance(value, date) and not isinstance(value, datetime):
        moment = datetime(value.year, value.month, value.day)
    if not isinstance(moment, datetime):
        raise refuse(f"{_what(value)} where a date and time is needed", _MOMENT)
    if not 1900 <= moment.year <= 2200:
        raise refuse("year out of range", "from 1900 to 2200")
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)


_MOMENT = '"2027-03-01T06:30+01:00": date, time, offset from UTC'


@dataclass(frozen=True)
class Text:
    """Reads one line of text.

    Parameters
    ----------
    what
        What it is, as messages begin with it.
    example
        A well-written one.
    longest
        Most characters.
    """

    what: str
    example: str
    longest: int = 120

    def read(self, value: object) -> str:
        """Return the text without blanks around it, or say what is wrong with it."""
        if not isinstance(value, str):
            raise refuse(f"{_what(value)} where text is needed", "", f'such as "{self.example}"')
        text = value.strip()
        if not text:
            raise refuse(f"{self.what} is empty", f'text such as "{self.example}"')
        if len(text) > self.longest or not text.isprintable():
            raise refuse(f"{self.what} must have 1 to {self.longest} printable characters")
        return text

    @property
    def json_schema(self) -> dict[str, Any]:
        """What the JSON Schema says of it."""
        return {"type": "string", "examples": [self.example]}

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        del source, handler
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        del schema, handler
        return self.json_schema


Level = Annotated[float, Quantity("length", -1000.0, 10_000.0, "m", "1.50 m")]
Height = Annotated[float, Quantity("length", 0.0, 200.0, "m", "5.0 m", open_low=True)]
# a well thinner than a hand, or a plan area smaller than one, is a slip of the unit
Span = Annotated[float, Quantity("length", 0.05, 100.0, "m", "3.0 m")]
SpanOrNone = Annotated[float, Quantity("length", 0.0, 100.0, "m", "0.6 m")]
WeirLength = Annotated[float, Quantity("length", 0.0, 1000.0, "m", "1.0 m", open_low=True)]
PipeLength = Annotated[float, Quantity("length", 0.0, 200_000.0, "m", "850 m")]
PipeDiameter = Annotated[float, Quantity("length", 0.005, 10.0, "m", "200 mm", us_unit="in")]
SewerLength = Annotated[float, Quantity("length", 0.1, 100_000.0, "m", "60 m")]
Along = Annotated[float, Quantity("length", 0.0, 100_000.0, "m", "45 m")]
Roughness = Annotated[float, Quantity("length", 0.0, 0.1, "m", "0.15 mm", us_unit="in")]
Viscosity = Annotated[float, Quantity("viscosity", 1e-8, 1e-2, "m2/s", "1.14e-6 m2/s")]
Head = Annotated[float, Quantity("length", 0.0, 2000.0, "m", "24 m")]
ShutoffHead = Annotated[float, Quantity("length", 0.0, 2000.0, "m", "24 m", open_low=True)]
HeadPerFlow = Annotated[float, Quantity("head per flow", -1e8, 1e8, "m/(m3/s)", "-40 m/(m3/s)")]
HeadPerFlowSquared = Annotated[
    float, Quantity("head per flow squared", -1e11, 1e11, "m/(m3/s)^2", "-5600 m/(m3/s)^2")
]
Area = Annotated[float, Quantity("area", 0.002, 1e6, "m2", "7.07 m2")]
Catchment = Annotated[float, Quantity("area", 0.0, 1e10, "ha", "40 ha", open_low=True)]
Volume = Annotated[float, Quantity("volume", 0.0, 1e7, "m3", "20 m3", open_low=True)]
VolumeOrNone = Annotated[float, Quantity("volume", 0.0, 1e7, "m3", "12 m3")]
FuelVolume = Annotated[float, Quantity("volume", 0.0, 1000.0, "m3", "200 L", open_low=True)]
_FLOW = Quantity("flow", 0.0, 1000.0, "m3/s", "30 L/s")
Flow = Annotated[float, _FLOW]
FlowOfPump = Annotated[float, Quantity("flow", 0.0, 1000.0, "m3/s", "30 L/s", open_low=True)]
FuelRate = Annotated[float, Quantity("flow", 0.0, 0.01, "m3/s", "8 L/h", us_unit="gal/h")]
Power = Annotated[float, Quantity("power", 0.0, 1e8, "W", "22 kW")]
Delay = Annotated[float, Quantity("duration", 0.0, 7 * 86400.0, "s", "10 s")]
BatteryTime = Annotated[float, Quantity("duration", 0.0, 366 * 86400.0, "h", "8 h")]
Duration = Annotated[float, Quantity("duration", 1.0, 20 * YEAR_S, "d", "7 d", low_unit="s")]
ExerciseInterval = Annotated[
    float, Quantity("duration", 3600.0, 366 * 86400.0, "d", "7 d", low_unit="s")
]
ScanTime = Annotated[float, Quantity("duration", 0.1, 3600.0, "s", "10 s")]
Elapsed = Annotated[float, Quantity("duration", 0.0, 20 * YEAR_S, "d", "2 h")]
Interval = Annotated[float, Quantity("duration", 1.0, 31 * 86400.0, "s", "5 min")]
RainDepth = Annotated[float, Quantity("length", 0.0, 5.0, "mm", "20 mm", open_low=True)]
IntervalDepth = Annotated[float, Quantity("length", 0.0, 5.0, "mm", "1.2 mm")]
RainSpan = Annotated[float, Quantity("duration", 1.0, 31 * 86400.0, "d", "6 h", low_unit="s")]
TimeToPeak = Annotated[
    float, Quantity("duration", 1.0, 366 * 86400.0, "d", "1 h 30 min", low_unit="s")
]

Temperature = Annotated[float, Quantity("temperature", -50.0, 500.0, "degC", "20 degC")]
TemperatureRise = Annotated[
    float, Quantity("temperature difference", 0.0, 500.0, "K", "85 K", open_low=True)
]
TimeConstant = Annotated[float, Quantity("duration", 1.0, 7 * 86400.0, "d", "45 min", low_unit="s")]

RatedPower = Annotated[float, Quantity("power", 0.0, 1e8, "kW", "45 kW", open_low=True)]
PlainPower = Annotated[float, Quantity("power", 0.0, 1e8, "kW", "2 kW")]
ApparentPower = Annotated[
    float, Quantity("apparent power", 0.0, 1e8, "kVA", "60 kVA", open_low=True)
]
Current = Annotated[float, Quantity("current", 0.0, 1e5, "A", "62 A", open_low=True)]
Voltage = Annotated[float, Quantity("voltage", 12.0, 50_000.0, "V", "400 V")]
Inertia = Annotated[float, Quantity("inertia", 0.0, 1e5, "kg m2", "0.4 kg m2", open_low=True)]
RatedSpeed = Annotated[
    float, Quantity("rotation speed", 0.0, 200.0, "rpm", "1450 rpm", open_low=True)
]
PressureError = Annotated[float, Quantity("pressure", 0.0, 1e6, "kPa", "2 kPa")]
# nobody reads a level to less than a hand, nor times a drop that is smaller
LevelError = Annotated[float, Quantity("length", 0.0, 0.5, "m", "5 mm", us_unit="in")]
LevelTolerance = Annotated[
    float, Quantity("length", 0.0, 0.5, "m", "20 mm", open_low=True, us_unit="in")
]
Drop = Annotated[float, Quantity("length", 0.05, 20.0, "m", "0.40 m")]
ShortWait = Annotated[float, Quantity("duration", 0.0, 600.0, "s", "2 s")]
Velocity = Annotated[float, Quantity("velocity", 0.0, 50.0, "m/s", "0.9 m/s")]
# no wave in a pipe is faster than sound in water, nor slower than in the softest hose
WaveSpeed = Annotated[float, Quantity("velocity", 10.0, 1500.0, "m/s", "1000 m/s")]
# nothing primes from deeper than the air can press the water up
PrimingLift = Annotated[float, Quantity("length", 0.0, 10.33, "m", "6.0 m", open_low=True)]
NpshRequired = Annotated[float, Quantity("length", 0.0, 100.0, "m", "3.5 m")]

Ratio = Annotated[float, Number(0.0, 1.0, open_low=True, percent=True)]
StartRatio = Annotated[float, Number(0.0, 20.0, open_low=True)]
PartOf = Annotated[float, Number(0.0, 100.0, percent=True)]
PerHour = Annotated[float, Number(0.0, 3600.0, open_low=True)]
Condition = Annotated[float, Number(0.01, 2.0, percent=True)]
EFFICIENCY = Number(0.0, 1.0, percent=True)
Efficiency = Annotated[float, EFFICIENCY]
CFactor = Annotated[float, Number(10.0, 200.0)]
Fittings = Annotated[float, Number(0.0, 10_000.0)]
WeirCoefficient = Annotated[float, Number(0.1, 5.0)]
Factor = Annotated[float, Number(0.0, 1e6)]
HeatFactor = Annotated[float, Number(0.0, 100.0)]
Share = Annotated[float, Number(0.0, 1.0, percent=True)]
Slope = Annotated[float, Number(0.0, 1.0)]
FallRatio = Annotated[float, Number(0.01, 1000.0)]
Growth = Annotated[float, Number(-0.9, 1.0, percent=True)]
LawNumber = Annotated[float, Number(0.0, 1e6)]
LawScale = Annotated[float, Number(0.0, 1e6, open_low=True)]
LawExponent = Annotated[float, Number(0.0, 5.0, open_low=True)]
AnyNumber = Annotated[float, Number(-1e12, 1e12)]

Clock = Annotated[
    float,
    PlainValidator(read_clock),
    WithJsonSchema({"type": "string", "examples": ["22:00"]}),
]
Poles = Annotated[int, Whole(2, 100, even=True)]
Phases = Annotated[int, Whole(1, 3, only=(1, 3))]
MostRunning = Annotated[int, Whole(1, 12)]
CalendarYear = Annotated[int, Whole(1900, 2200)]
Count = Annotated[int, PlainValidator(_read_count), WithJsonSchema({"type": "integer"})]
RainUnitName = Annotated[str, Text("a unit of rain", "mm")]
RainColumn = Annotated[str, Text("the name of a column", "rain_mm")]
Name = Annotated[str, Text("a name", "Mill Lane")]
SettingText = Annotated[str, Text("a text", "60/20/20")]
FileName = Annotated[str, Text("the name of a file", "data/inflow.csv", 1000)]
EventText = Annotated[str, Text("an event text", "day 3 07:10 grid loss for 4 h", 400)]
EventMoment = Annotated[str, Text("a moment", "day 3 07:10")]
EventWhat = Annotated[str, Text("what happens", "P2 out of service", 400)]
EventSpan = Annotated[str, Text("a duration", "4 h")]
UnitName = Annotated[str, Text("a unit", "L/s")]
ColumnName = Annotated[str, Text("the name of a column", "inflow_m3d")]
FlowOrFactor = Annotated[
    tuple[Literal["flow", "factor"], float],
    PlainValidator(_read_flow_or_factor),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "string", "examples": ["12 L/s"], "x-quantity": "flow"},
                {"type": "number", "minimum": 0},
            ]
        }
    ),
]
Moment = Annotated[
    datetime,
    PlainValidator(_read_moment),
    WithJsonSchema({"type": "string", "examples": ["2027-03-01T06:30+01:00"]}),
]


def _system(info: ValidationInfo) -> units.System:
    """Return the units of the file that a value stands in."""
    return "us" if (info.context or {}).get(SYSTEM) == "us" else "si"


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _what(value: object) -> str:
    """Say what sort of TOML value somebody wrote."""
    if isinstance(value, bool):
        return "true or false"
    if isinstance(value, str):
        return f"text '{_short(value)}'"
    if isinstance(value, int | float):
        return "a plain number"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, dict):
        return "a table"
    return "a date or time"


def _short(text: str) -> str:
    return text if len(text) <= 30 else f"{text[:27]}..."
