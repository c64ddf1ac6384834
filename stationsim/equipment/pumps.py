"""One electric pump, as it stands there: curve, branch, power draw, wear, and what its trips do."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Literal

from stationsim.physics.forcemain import Pipe
from stationsim.physics.motor import MotorHeat
from stationsim.physics.pumps import HeadCurve, PowerDraw

SealLeakAction = Literal["alarm", "stop"]
AfterSag = Literal["restarts", "waits for reset"]


@dataclass(frozen=True)
class PumpUnit:
    """One pump with its own branch up to the common header.

    Parameters
    ----------
    name
        The machine: ``P1``.
    curve
        Head over flow as new; None for a pump of fixed flow, or when the station's total by number
        running is given.
    fixed_flow_m3s
        Flow whatever the level [m3/s]; None when a curve is given.
    speed_ratio
        Speed over the speed of the curve [-].
    flow_factor, head_factor
        Condition: what wear leaves of flow and head [-], 1 as new.
    branch
        Pipe from the pump to the header; None for none.
    power
        What it draws while it runs.
    min_off_s
        How long it must rest after a stop before the panel may start it again [s].
    fail_to_start_s
        How long the panel waits for the run signal of a pump that it has called, before it takes
        it for failed [s].
    motor_heat
        How the motor heats and cools, trips and resets; None for no thermal model.
    motor_top_m
        Level below which the motor is not submerged and heats more [m above floor]; None for never.
    most_resets
        How often it may reset by itself after it got too hot, before it waits for a hand; None for
        always, 0 for never.
    seal_leak
        What the panel does on a seal leak: only raise the alarm, or stop the pump too.
    no_flow_after_s
        How long the panel bears a pump that runs and moves nothing, before its alarm [s]; None: it
        does not look for it.
    no_flow
        What it does then: only raise the alarm, or stop the pump too, until it is reset.
    air_bound_below_m
        A pump that runs at or below this level draws air and is air-bound from then on [m above
        floor]; None for never.
    vent_s
        How long an air-bound pump must stand under water until it is free by itself [s]; infinity
        for never.
    overload_below
        Rags that leave less than this part of its flow make its overload trip [-]; nought for
        never.
    reverse_tries
        How often the panel reverses a pump that rags have tripped and tries again, before it leaves
        it to a reset by hand.
    reverse_s
        How long one such try takes [s].
    reverse_clears, stop_clears
        Chance that a try, and that an ordinary stop, clears the rags [-].
    rides_through_s
        Longest sag of the grid that its contactor bears [s].
    after_sag
        After a longer one: whether the panel may start it again, or its voltage relay has latched,
        though it stood, and waits for a reset.
    """

    name: str
    curve: HeadCurve | None = None
    fixed_flow_m3s: float | None = None
    speed_ratio: float = 1.0
    flow_factor: float = 1.0
    head_factor: float = 1.0
    branch: Pipe | None = None
    power: PowerDraw = field(default_factory=PowerDraw)
    min_off_s: float = 0.0
    seal_leak: SealLeakAction = "alarm"
    fail_to_start_s: float = 0.0
    motor_heat: MotorHeat | None = None
    motor_top_m: float | None = None
    most_resets: int | None = None
    no_flow_after_s: float | None = None
    no_flow: SealLeakAction = "alarm"
    air_bound_below_m: float | None = None
    vent_s: float = math.inf
    overload_below: float = 0.0
    reverse_tries: int = 0
    reverse_s: float = 0.0
    reverse_clears: float = 0.0
    stop_clears: float = 0.0
    rides_through_s: float = 0.0
    after_sag: AfterSag = "restarts"

    def input_w(self, flow_m3s: float, head_m: float) -> float:
        """Return the electrical input at a flow [W].

        By the affinity laws an efficiency belongs to the flow over the speed ratio, and an input
        goes with the cube of the speed ratio.

        Parameters
        ----------
        flow_m3s
            Flow of the pump [m3/s].
        head_m
            Its total head at that flow [m].
        """
        power, ratio = self.power, self.speed_ratio
        if power.input_curve is not None:
            return power.input_curve.at(flow_m3s / ratio) * ratio**3
        return power.input_at(flow_m3s, head_m, flow_m3s / ratio)

    def clogged(self, flow_left: float) -> PumpUnit:
        """Return the pump with only a part of its flow left at the same head.

        Parameters
        ----------
        flow_left
            The part that is left [-].
        """
        if self.fixed_flow_m3s is not None:
            return replace(self, fixed_flow_m3s=self.fixed_flow_m3s * flow_left)
        return replace(self, flow_factor=self.flow_factor * flow_left)

    def curve_now(self) -> HeadCurve | None:
        """Return the curve at its speed and in its condition, before the branch loss."""
        if self.curve is None:
            return None
        return self.curve.at_speed(self.speed_ratio).scaled(self.flow_factor, self.head_factor)
