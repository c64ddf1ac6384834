"""Rules of the episode: its table, its inflow and its clock."""

from __future__ import annotations

from stationsim import units
from stationsim.findings import Finding
from stationsim.scenario.case import LOGIC, Case, Findings

MOST_TABLE_ROWS = 3_000_000


def table_of_levels_sane(case: Case) -> Findings:
    """Check that the table of levels has more than one row, and not millions."""
    interval, duration = case.episode.table_interval_s, case.episode.duration_s
    if duration / interval > MOST_TABLE_ROWS:
        yield Finding(
            "episode.table_interval",
            "error",
            "would give too many rows of levels",
            f"{duration / interval:.3g}",
            f"at most {MOST_TABLE_ROWS}",
            "lengthen it",
            source=LOGIC,
        )
    if interval > duration:
        yield Finding(
            "episode.table_interval",
            "warning",
            "is longer than the episode",
            units.show(interval, "duration", case.system),
            f"up to {units.show(duration, 'duration', case.system)}",
            "shorten it",
            source=LOGIC,
        )


def something_arrives(case: Case) -> Findings:
    """Check that some water arrives, or there is nothing to see."""
    if case.inflow.volume_m3(case.episode.duration_s) <= 0.0:
        yield Finding(
            "inflow",
            "warning",
            "no water arrives in the whole episode",
            fix="check its times",
            source=LOGIC,
        )


def rotation_has_time(case: Case) -> Findings:
    """Check that a change of the lead by the clock leaves time to pump in between."""
    every_s = getattr(case.station.control.rotation_settings, "every_s", None)
    if case.station.control.rotation == "clock" and every_s is not None and every_s < 60.0:
        yield Finding(
            "rotation.every",
            "error",
            "is too short to pump between two changes of the lead",
            units.show(every_s, "duration", case.system),
            "60 s or more",
            "lengthen it",
            source=LOGIC,
        )
