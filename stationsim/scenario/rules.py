"""Rules beyond types: what a station that can be run must hold, and what practice advises.

One function for each rule, in ``level_rules``, ``pump_rules``, ``protection_rules``,
``standby_rules``, ``rating_rules``, ``acceptance_rules``, ``episode_rules`` and
``response_effects``; each looks at a case and yields findings, errors or warnings, with what to do
and where the rule comes from. Rules of logic (an order without which the control makes no sense)
are errors; rules of practice are warnings, and every limit of practice is an example that local
codes and licensed designers may set otherwise.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stationsim.scenario import (
    acceptance_rules,
    episode_rules,
    level_rules,
    protection_rules,
    pump_rules,
    rating_rules,
    response_effects,
    standby_rules,
)

if TYPE_CHECKING:
    from stationsim.findings import Finding
    from stationsim.scenario.case import Case

STATION_RULES = (
    level_rules.stop_above_floor,
    level_rules.starts_in_order,
    level_rules.starts_without_gap,
    level_rules.starts_spaced,
    level_rules.no_more_calls_than_pumps,
    level_rules.starts_below_spill,
    level_rules.staged_stops_in_order,
    level_rules.high_alarm_in_order,
    level_rules.low_alarm_below_stop,
    level_rules.spill_in_place,
    pump_rules.pumps_named,
    pump_rules.pumps_have_flows,
    pump_rules.rotation_shares_fit,
    pump_rules.total_flow_complete,
    pump_rules.main_in_use,
    pump_rules.pumps_can_lift,
    pump_rules.cycle_not_tiny,
    pump_rules.engine_in_order,
    protection_rules.engine_start_sane,
    protection_rules.floats_in_order,
    standby_rules.air_below_stop,
    standby_rules.signal_read_before_frozen,
    standby_rules.settings_have_effect,
    standby_rules.battery_feeds_alarms,
    standby_rules.engine_can_prime,
    standby_rules.generators_start_each_pump,
    standby_rules.generators_carry_one_pump,
    standby_rules.mobile_generator_in_order,
    rating_rules.inlets_under_water,
    rating_rules.main_ages_in_order,
    rating_rules.generator_in_order,
    rating_rules.as_many_running_as_pumps,
    rating_rules.design_flows_in_order,
    rating_rules.limits_in_order,
    acceptance_rules.no_load_current_fits,
    acceptance_rules.rated_speed_goes_with_poles,
    acceptance_rules.day_begins_before_it_ends,
    acceptance_rules.timed_drop_fits,
    acceptance_rules.reading_levels_fit,
    acceptance_rules.gauges_fit,
    episode_rules.rotation_has_time,
)
"""Rules of what stands there, in the order of a scenario file."""

EPISODE_RULES = (
    level_rules.start_level_in_range,
    pump_rules.capacity_over_inflow,
    episode_rules.table_of_levels_sane,
    episode_rules.something_arrives,
    response_effects.response_has_effect,
)
"""Rules of what happens."""


def check(case: Case) -> list[Finding]:
    """Return the findings of all rules.

    Parameters
    ----------
    case
        What is to be looked at.
    """
    found = check_station(case)
    return found + [finding for rule in EPISODE_RULES for finding in rule(case)]


def check_station(case: Case) -> list[Finding]:
    """Return the findings of the rules of what stands there, whatever happens to it.

    Parameters
    ----------
    case
        What is to be looked at.
    """
    return [finding for rule in STATION_RULES for finding in rule(case)]
