"""What may be wrong with instruments and with how readings were taken, each of a size."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from stationsim.physics.gauge import column_m
from stationsim.studies.acceptance.causes.suspects import Shape, Suspect, scaled, spaced
from stationsim.studies.acceptance.rig import AsBuilt
from stationsim.studies.check.criterion import Reason, Told

if TYPE_CHECKING:
    from collections.abc import Callable

    from stationsim.studies.acceptance.causes.foreseen import Outlook

_LEAST_PA, _MOST_PA = 3e3, 50e3


def suspects_of_readings(outlook: Outlook) -> Iterator[Suspect]:
    """Yield what may be wrong with instruments, and with how readings were taken.

    Parameters
    ----------
    outlook
        The readings of the sheet, and the station as it should be.
    """
    station = outlook.station
    yield Suspect(
        "flow meter off",
        "flow meter",
        "the flow meter is off",
        tuple(
            Shape(
                sizes,
                lambda part: AsBuilt(station, meter_part=part),
                lambda part: f"shows about {part:.2f} of what flows",
            )
            for sizes in (spaced(0.97, 0.7, 3), spaced(1.03, 1.3, 3))
        ),
    )
    yield Suspect(
        "gauge on the header off",
        "header gauge",
        "the gauge on the header is off",
        _offsets(lambda off: AsBuilt(station, header_off_pa=off)),
    )
    yield Suspect(
        "gauges at the pumps off",
        "pump gauges",
        "the gauges at the pumps are off",
        _offsets(lambda off: AsBuilt(station, pump_off_pa=off)),
    )
    for machine, unit in enumerate(outlook.rig.units):

        def of_one(off: float, machine: int = machine) -> AsBuilt:
            return AsBuilt(station, own_off_pa=((machine, off),))

        yield Suspect(
            "gauge at a pump off",
            unit.name,
            f"the gauge at {unit.name} is off",
            _offsets(of_one),
            shut_off=machine,
            weight=0.5,
        )
    flows = [outlook.rig.point(one, outlook.lowest_m).total_m3s for one in outlook.lineups]
    flow = min((one for one in flows if one > 0.0), default=0.0)
    yield Suspect(
        "inflow left out",
        "well",
        "inflow was left out while pumps were timed",
        (
            Shape(
                scaled(0.03, 0.6),
                lambda part: AsBuilt(station, unseen_m3s=part * flow),
                lambda part: ("about ", Told(part * flow, "flow"), " came in meanwhile"),
            ),
        ),
    )
    yield Suspect(
        "area of the well or drop wrong",
        "well",
        "the area of the well or the drop is wrong",
        tuple(
            Shape(
                sizes,
                lambda part: AsBuilt(station, area_part=part),
                lambda part: f"about {part:.2f} of the volume that was reckoned with",
            )
            for sizes in (spaced(0.98, 0.75, 4), spaced(1.02, 1.3, 4))
        ),
        weight=0.7,
    )


def _offsets(built: Callable[[float], AsBuilt]) -> tuple[Shape, Shape]:
    """Return a gauge that shows too much, and one that shows too little."""

    def words(off: float) -> Reason:
        much = "too much" if off > 0.0 else "too little"
        low = "lower" if off > 0.0 else "higher"
        size = abs(off)
        return (
            "shows about ", Told(size, "pressure"), f" {much}, as with its dial ",
            Told(column_m(size), "head"), f" {low} than given",
        )  # fmt: skip

    return (
        Shape(spaced(_LEAST_PA, _MOST_PA, 3), built, words),
        Shape(spaced(-_LEAST_PA, -_MOST_PA, 3), built, words),
    )
