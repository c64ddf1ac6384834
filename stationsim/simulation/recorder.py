"""The recorder: appends rows to the trace of a run, and looks at nothing."""

from __future__ import annotations

import math

from stationsim.physics.bands import Lineup
from stationsim.trace import AlarmRow, EventRow, PowerRow, SpillRow, Trace, Unavailable


class Recorder:
    """Writes a trace.

    Parameters
    ----------
    trace
        Where the rows go.
    """

    def __init__(self, trace: Trace) -> None:
        self.trace = trace
        self._alarms: dict[tuple[str, str], tuple[float, float]] = {}  # raised, sent [s]
        self._reached: dict[tuple[str, str], float] = {}  # of those that stand, when [s]
        self._power: dict[str, tuple[str, float, str]] = {}
        self._unavailable: dict[int, tuple[float, str]] = {}
        self._lineups: dict[object, int] = {}

    def event(
        self, t_s: float, subject: str, event: str, cause: str, level_m: float, detail: str = ""
    ) -> None:
        """Write down that something happened."""
        self.trace.events.append(EventRow(t_s, subject, event, cause, detail, level_m))

    def leg(self, t_s: float, v_m3: float, key: object, lineup: Lineup) -> None:
        """Write down that another lineup runs from now on."""
        trace = self.trace
        index = self._lineups.get(key)
        if index is None:
            index = self._lineups[key] = len(trace.lineups)
            trace.lineups.append(lineup)
        if trace.leg_t_s and trace.leg_t_s[-1] == t_s:
            trace.leg_v_m3[-1] = v_m3
            trace.leg_lineup[-1] = index
            return
        trace.leg_t_s.append(t_s)
        trace.leg_v_m3.append(v_m3)
        trace.leg_lineup.append(index)

    def alarm_stands(self, alarm: str, subject: str) -> bool:
        """Return whether an alarm stands."""
        return (alarm, subject) in self._alarms

    def alarm_raised(self, t_s: float, alarm: str, subject: str, *, sent: bool = True) -> None:
        """Write down that an alarm came, and whether it left the station."""
        self._alarms[alarm, subject] = (t_s, t_s if sent else math.nan)

    def alarms_unsent(self, t_s: float, but: str) -> None:
        """Write down that what came at this very instant did not leave the station."""
        for key, (raised, sent) in self._alarms.items():
            if sent == t_s and key[0] != but:
                self._alarms[key] = (raised, math.nan)

    def send_alarms(self, t_s: float) -> list[tuple[str, str]]:
        """Write down that all that stand have left the station; return those that had not."""
        unsent = [key for key, (_raised, sent) in self._alarms.items() if math.isnan(sent)]
        for key in unsent:
            self._alarms[key] = (self._alarms[key][0], t_s)
        return unsent

    def alarm_cleared(self, t_s: float, alarm: str, subject: str) -> None:
        """Write down that an alarm went."""
        raised, sent = self._alarms.pop((alarm, subject))
        reached = self._reached.pop((alarm, subject), math.nan)
        self.trace.alarms.append(AlarmRow(alarm, subject, raised, reached, t_s, sent))

    def alarm_reached(
        self, t_s: float, alarm: str, subject: str, raised_s: float | None = None
    ) -> None:
        """Write down that a person knows of an alarm, which may have gone meanwhile.

        Parameters
        ----------
        t_s
            When [s].
        alarm, subject
            Which, and of what.
        raised_s
            When it was raised [s]; None for the one that stands.
        """
        key = (alarm, subject)
        stands = self._alarms.get(key)
        if stands is not None and raised_s in (None, stands[0]):
            self._reached.setdefault(key, t_s)
            return
        rows = self.trace.alarms
        for n in range(len(rows) - 1, -1, -1):
            row = rows[n]
            if (row.alarm, row.subject, row.raised_s) == (alarm, subject, raised_s):
                if math.isnan(row.reached_s):
                    rows[n] = row._replace(reached_s=t_s)
                return

    def alarm_sent_since(self, alarm: str, subject: str) -> float | None:
        """Return when an alarm that stands and was sent was raised [s]; None when there is none."""
        raised, sent = self._alarms.get((alarm, subject), (math.nan, math.nan))
        return None if math.isnan(sent) else raised

    def alarm_raised_s(self, alarm: str, subject: str) -> float:
        """Return when an alarm that stands was raised [s]."""
        return self._alarms[alarm, subject][0]

    def alarms_standing(self) -> list[tuple[str, str]]:
        """Return all alarms that stand, and of what."""
        return list(self._alarms)

    def standing(self) -> dict[tuple[str, str], tuple[float, float]]:
        """Return the alarms that stand, and of what: when each was raised and was sent [s]."""
        return dict(self._alarms)

    def alarms_unreached(self) -> list[tuple[str, str]]:
        """Return the alarms that stand and that no person knows of."""
        return [key for key in self._alarms if key not in self._reached]

    def spilled(
        self, start_s: float, stop_s: float, volume_m3: float, peak_m3s: float, method: str
    ) -> None:
        """Write down a spill."""
        self.trace.spills.append(SpillRow(start_s, stop_s, volume_m3, peak_m3s, method))

    def power(self, t_s: float, source: str, state: str, cause: str) -> None:
        """Write down that a source of power is in another state."""
        before = self._power.get(source)
        if before is not None:
            if before[0] == state:
                return
            if t_s > before[1]:
                self.trace.power.append(PowerRow(source, before[0], before[1], t_s, before[2]))
        self._power[source] = (state, t_s, cause)

    def unavailable(self, t_s: float, machine: int, cause: str) -> None:
        """Write down that the controller can no longer run a machine."""
        self._unavailable.setdefault(machine, (t_s, cause))

    def available(self, t_s: float, machine: int) -> None:
        """Write down that the controller can run a machine again."""
        since = self._unavailable.pop(machine, None)
        if since is not None and t_s > since[0]:
            self.trace.unavailable.append(Unavailable(machine, since[0], t_s, since[1]))

    def close(self, end_s: float) -> None:
        """Write down what still stands at the end of the run."""
        for (alarm, subject), (raised, sent) in self._alarms.items():
            reached = self._reached.get((alarm, subject), math.nan)
            self.trace.alarms.append(AlarmRow(alarm, subject, raised, reached, math.nan, sent))
        self._alarms.clear()
        self._reached.clear()
        for source, (state, since, cause) in self._power.items():
            self.trace.power.append(PowerRow(source, state, since, end_s, cause))
        self._power.clear()
        for machine in sorted(self._unavailable):
            since, cause = self._unavailable[machine]
            if end_s > since:
                self.trace.unavailable.append(Unavailable(machine, since, end_s, cause))
        self._unavailable.clear()
        self.trace.alarms.sort(key=lambda row: row.raised_s)
        self.trace.power.sort(key=lambda row: (row.start_s, row.source))
        self.trace.unavailable.sort(key=lambda row: (row.start_s, row.machine))
