"""The kit for controllers: every built-in passes, and each kind of mistake is caught by name."""

from __future__ import annotations

from dataclasses import replace

import pytest
from broken_controllers import CAUGHT

from stationsim.control.contract import ROTATIONS
from stationsim.testing import check_controller, staging

LEVELS = {"lead_start_m": 2.0, "lag_start_m": 2.3, "standby_start_m": 2.6, "stop_m": 1.0}
STYLES = {
    "plain": {},
    "staged, with delays": {
        "stop_policy": "last on, first off",
        "lag_stop_m": 1.4,
        "standby_stop_m": 1.7,
        "start_delay_s": 5.0,
        "stop_delay_s": 2.0,
        "stagger_s": 10.0,
    },
    "first on, with limits": {
        "stop_policy": "first on, first off",
        "lag_stop_m": 1.4,
        "max_run_s": 1800.0,
        "most_starts_per_hour": 3.0,
        "restart_delay_s": 20.0,
        "restart_stagger_s": 7.0,
        "at_power_loss": "starts over",
    },
}


@pytest.mark.parametrize("style", STYLES, ids=str)
@pytest.mark.parametrize("rotation", ROTATIONS, ids=str)
def test_every_built_in_passes(rotation: str, style: str) -> None:
    assert check_controller(staging(rotation, **LEVELS, **STYLES[style])) == ()


@pytest.mark.parametrize("name", CAUGHT, ids=str)
def test_a_broken_controller_is_caught_by_name(name: str) -> None:
    plan = replace(staging(**LEVELS), controller=f"broken_controllers:{name}")
    found = check_controller(plan)
    assert CAUGHT[name] in {finding.place for finding in found}
    assert all(finding.verdict == "error" for finding in found)


def test_every_name_of_the_kit_has_a_controller_that_it_catches() -> None:
    from stationsim.testing import conformance

    text = conformance.__doc__ or ""
    names = {line.split("``")[1] for line in text.splitlines() if line.startswith("``")}
    assert set(CAUGHT.values()) == names - {"check_controller(plan)"}
