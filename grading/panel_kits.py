"""The planner's forecast from looks; merits, once there are any, come before it."""

from pedigrees.forecasts import Forecaster, register

from .kits import from_parents


def register_parts():
    register(Forecaster("parents' looks", 50, from_parents))
