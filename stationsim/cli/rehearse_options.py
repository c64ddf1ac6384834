"""From the options of ``stationsim rehearse`` to what is asked; all wrong ones are told at once."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from stationsim import units
from stationsim.errors import InputError
from stationsim.outline import set_levels

if TYPE_CHECKING:
    from stationsim.scenario.load import Loaded
    from stationsim.station import Station
    from stationsim.studies.rehearse.hours import HoursAsked
    from stationsim.studies.rehearse.now import NowAsked, Rise
    from stationsim.studies.rehearse.plan import PlanAsked
    from stationsim.units import Kind

_LONGEST_S = 3.0 * 86_400.0
_LAST_HOUR = 23
_CHANGE = re.compile(r"(?P<by>.+)\s+in\s+(?P<time>.+?)(?:\s+with\s+(?P<names>.+))?")
_CHANGE_ACCEPTED = "HEIGHT in TIME, such as '0.20 m in 6 min', or '0.20 m in 6 min with P1'"


def given_both_ways(
    options: dict[str, Any],
    from_now_only: Sequence[str],
    by_hour_only: Sequence[str],
    *,
    from_now: bool,
    files: int,
) -> list[str]:
    """Return what is wrong with options that do not go together.

    Parameters
    ----------
    options
        The options by name.
    from_now_only, by_hour_only
        Options that mean something only from now, and only for the table by hour.
    from_now
        True when the question is asked from now.
    files
        How many files were given.
    """
    told = []
    for name in by_hour_only if from_now else from_now_only:
        if options[name] not in (None, False, ()):
            option = "--" + name.replace("_", "-")
            told.append(
                f"{option}: belongs to the table by hour, and --at or --level asks from now"
                if from_now
                else f"{option}: asks from now, and needs --at and --level"
            )
    if from_now and (options["at"] is None or options["level"] is None):
        lacking = "--at" if options["at"] is None else "--level"
        example = "02:40" if lacking == "--at" else "2.30 m"
        told.append(f"{lacking}: is needed to ask from now, such as {lacking} '{example}'")
    if from_now and files > 1:
        told.append(f"FILE: from now, one station at a time (found {files} files)")
    if from_now and options["rise"] is not None and options["fall"] is not None:
        told.append("--fall: --rise is given too; give the one that was timed")
    return told


def plan_problems(options: dict[str, Any], *, from_now: bool, files: int) -> list[str]:
    """Return what is wrong with the options of the plan and of the sheet.

    Parameters
    ----------
    options
        The options by name.
    from_now
        True when the question is asked from now.
    files
        How many files were given.
    """
    plan, sheet = options["plan"], options["sheet"]
    told = [
        f"--{name}: means something only together with --plan"
        for name in ("hour", "late")
        if options[name] is not None and not plan
    ]
    for given, option in ((plan, "--plan"), (sheet, "--sheet")):
        if given and from_now:
            told.append(f"{option}: goes by the hour, and --at or --level asks from now")
        elif given and files > 1:
            told.append(f"{option}: takes one station at a time (found {files} files)")
    if plan:
        for name in ("response", "spilled_after"):
            if options[name] is not None:
                option = "--" + name.replace("_", "-")
                told.append(
                    f"{option}: belongs to the table by hour; the plan has its response in the file"
                )
    return told


class _Reading:
    """Reads options, and collects what is wrong."""

    def __init__(self, options: dict[str, Any]) -> None:
        self.options = options
        self.told: list[str] = []

    def quantity(
        self, name: str, kind: Kind, default: float, least: float = 0.0, *, open_end: bool = False
    ) -> float:
        """Return a quantity, or its default."""
        text = self.options[name]
        if text is None:
            return default
        option = "--" + name.replace("_", "-")
        try:
            value = units.parse(text, kind)
        except InputError as error:
            self.told.append(f"{option}: {error}")
            return default
        if value < least or (open_end and value == least):
            bound = "more than 0" if open_end else "0 or more"
            self.told.append(f"{option}: '{text}' is too small; accepted: {bound}")
            return default
        if kind == "duration" and value > _LONGEST_S:
            self.told.append(f"{option}: '{text}' is too long; accepted: up to 72 h")
            return default
        return value

    def durations(self, name: str) -> tuple[float, ...]:
        """Return a list of times."""
        text = self.options[name]
        if text is None:
            return ()
        option = "--" + name.replace("_", "-")
        found = []
        for part in text.split(","):
            try:
                found.append(units.parse(part, "duration"))
            except InputError as error:
                self.told.append(f"{option}: {error}")
                continue
            if not 0.0 < found[-1] <= _LONGEST_S:
                self.told.append(f"{option}: '{part.strip()}'; accepted: more than 0, up to 72 h")
        return tuple(found)

    def percent(self, name: str) -> float:
        """Return a part given in percent [-]."""
        text = self.options[name]
        if text is None:
            return 0.0
        found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*%\s*", text)
        part = float(found.group(1)) / 100.0 if found else -1.0
        if not 0.0 <= part <= 1.0:
            option = "--" + name.replace("_", "-")
            self.told.append(f"{option}: '{text}' cannot be used; accepted: 0% to 100%")
            return 0.0
        return part

    def done(self) -> None:
        """Raise when anything was wrong."""
        if self.told:
            raise InputError("\n".join(dict.fromkeys(self.told)))


def plan_asked(loaded: Sequence[Loaded], options: dict[str, Any]) -> PlanAsked:
    """Return what is asked of the plan.

    Parameters
    ----------
    loaded
        The scenario.
    options
        The options by name.

    Raises
    ------
    InputError
        When any of them cannot be used; it tells all.
    """
    from stationsim.studies.rehearse.plan import PlanAsked

    read = _Reading(options)
    hour = None
    if options["hour"] is not None:
        found = re.fullmatch(r"\s*(\d{1,2})(?::00)?\s*", options["hour"])
        if found is None or int(found.group(1)) > _LAST_HOUR:
            read.told.append(f"--hour: '{options['hour']}' cannot be used; accepted: 0 to 23")
        else:
            hour = int(found.group(1))
    late = read.durations("late") or PlanAsked.late_s
    try:
        asked = hours_asked(loaded, options)
    except InputError as error:
        read.told += str(error).splitlines()
    read.done()
    return PlanAsked(
        **{
            **vars(asked),
            "days": asked.days if options["days"] is not None else PlanAsked.days,
            "outage_s": asked.outage_s if options["outage"] is not None else PlanAsked.outage_s,
        },
        hour=hour,
        late_s=late,
    )


def hours_asked(loaded: Sequence[Loaded], options: dict[str, Any]) -> HoursAsked:
    """Return what is asked of the table by hour.

    Parameters
    ----------
    loaded
        The scenarios.
    options
        The options by name.

    Raises
    ------
    InputError
        When any of them cannot be used; it tells all.
    """
    from stationsim.studies.rehearse.days import read_days
    from stationsim.studies.rehearse.hours import HoursAsked
    from stationsim.studies.rehearse.routine import ROUTINE

    read = _Reading(options)
    days = HoursAsked.days
    if options["days"] is not None:
        try:
            days = read_days(options["days"])
        except InputError as error:
            read.told.append(f"--days: {error}")
    start: float | str = HoursAsked.start_level
    if options["start_level"] is not None:
        written = start = options["start_level"].strip()
        names = [name for name, _ in set_levels(loaded[0].station.as_built())]
        if written not in (*names, *ROUTINE):
            try:
                start = _above_floor(loaded[0].station, written)
            except InputError:
                accepted = ", ".join((*names, *ROUTINE))
                read.told.append(
                    f"--start-level: '{written}' cannot be used; accepted: a level with its unit,"
                    f" such as '1.50 m', or one of {accepted}"
                )
    counted = {one.station.levels_shown for one in loaded}
    if isinstance(start, float) and len(counted) > 1:
        read.told.append(
            f"--start-level: '{options['start_level']}' cannot be used, because the files count"
            f" their levels differently ({', '.join(sorted(counted))}); give the name of a level,"
            " such as 'lead start'"
        )
    response = None
    if options["response"] is not None:
        response = read.quantity("response", "duration", 0.0, open_end=True)
    asked = HoursAsked(
        days=days,
        same_day=options["same_day"],
        start_level=start,
        added_m3s=read.quantity("wet_addition", "flow", 0.0),
        storm_peak_s=read.quantity("storm_peak", "duration", 0.0, -_LONGEST_S),
        spilled_after_s=read.durations("spilled_after"),
        response_s=response,
        upstream=read.percent("upstream"),
        upstream_lag_s=read.quantity("upstream_lag", "duration", 0.0),
        upstream_surge_s=read.quantity("upstream_surge", "duration", 3600.0, open_end=True),
        outage_s=read.quantity("outage", "duration", 7200.0, open_end=True),
    )
    read.done()
    return asked


def now_asked(loaded: Loaded, options: dict[str, Any]) -> NowAsked:
    """Return what is asked from now.

    Parameters
    ----------
    loaded
        The scenario.
    options
        The options by name.

    Raises
    ------
    InputError
        When any of them cannot be used; it tells all.
    """
    from stationsim.scenario.events import EventTextError, read_moment
    from stationsim.studies.rehearse.now import NowAsked

    read = _Reading(options)
    at_s, level_m = 0.0, 0.0
    try:
        at_s = read_moment(options["at"], loaded.episode.start)
    except EventTextError as error:
        read.told.append(f"--at: {error}")
    if at_s < 0.0:
        begins = f"{loaded.episode.start:%a %Y-%m-%d %H:%M}"
        read.told.append(
            f"--at: '{options['at']}' lies before the episode, which begins {begins}; give a day,"
            " such as 'day 2 02:40' or 'Sat 02:40'"
        )
    try:
        named = dict(set_levels(loaded.station.as_built()))
        written = options["level"].strip()
        level_m = named[written] if written in named else _above_floor(loaded.station, written)
    except InputError as error:
        will_do = ", ".join(named)
        read.told.append(f"--level: {error}; the name of a level will do too: {will_do}")
    rise = _rise(read)
    asked = NowAsked(
        at_s=at_s,
        level_m=level_m,
        out=tuple(
            dict.fromkeys(
                name
                for text in options["out_of_service"]
                for name in re.split(r"\s*[,+]\s*", text.strip())
            )
        ),
        rise=rise,
        tanker_m3=read.quantity("tanker", "volume", 10.0, open_end=True),
        upstream=read.percent("upstream"),
        upstream_lag_s=read.quantity("upstream_lag", "duration", 0.0),
    )
    names = loaded.station.as_built().machine_names()
    for option, machines in (
        ("--out-of-service", asked.out),
        ("--rise" if options["rise"] else "--fall", rise.running if rise else ()),
    ):
        for name in machines:
            if name not in names:
                read.told.append(
                    f"{option}: no machine is called '{name}'; there are {', '.join(names)}"
                )
    read.done()
    return asked


def _rise(read: _Reading) -> Rise | None:
    from stationsim.studies.rehearse.now import Rise

    option = "rise" if read.options["rise"] is not None else "fall"
    text = read.options[option]
    if text is None:
        return None
    found = _CHANGE.fullmatch(" ".join(text.split()))
    if found is None:
        read.told.append(f"--{option}: '{text}' cannot be read; accepted: {_CHANGE_ACCEPTED}")
        return None
    try:
        by_m, in_s = (
            units.parse(found.group("by"), "length"),
            units.parse(found.group("time"), "duration"),
        )
    except InputError as error:
        read.told.append(f"--{option}: {error}; accepted: {_CHANGE_ACCEPTED}")
        return None
    if by_m < 0.0 or not 0.0 < in_s <= 6.0 * 3600.0:
        read.told.append(
            f"--{option}: '{text}' cannot be used; accepted: a height of 0 or more, timed over up"
            " to 6 h; a fall is given by --fall"
        )
        return None
    names = found.group("names")
    running = tuple(re.split(r"\s*(?:,|\+|\band\b)\s*", names)) if names else ()
    return Rise(by_m if option == "rise" else -by_m, in_s, running)


def _above_floor(station: Station, text: str) -> float:
    """Return a level as the people of a station write it, as a level above the floor [m]."""
    level = units.parse(text, "length")
    if station.levels_shown == "elevation":
        return round(level - (station.floor_elevation_m or 0.0), 6)
    if station.levels_shown == "below cover":
        return round((station.cover_m or 0.0) - level, 6)
    return level
