"""The plan against the clock: each source of pumping, each step, and each one left out."""

from stationsim.studies.rehearse.plan.cases import PlanAsked
from stationsim.studies.rehearse.plan.study import rehearse_plan

__all__ = ["PlanAsked", "rehearse_plan"]
