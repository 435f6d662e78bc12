"""The planner's forecast from looks; merits, once there are any, come before it."""

from clubsite.nightly import NightlyJob
from clubsite.nightly import register as each_night
from pedigrees.forecasts import Forecaster, register

from .actions.evaluations import run_all_changed
from .kits import from_parents, refresh_all


def register_parts():
    register(Forecaster("parents' looks", 50, from_parents))
    each_night(NightlyJob("kit fits", "How kits took after their parents", refresh_all, 40))
    each_night(NightlyJob("evaluation", "The mixed model over what changed", run_all_changed, 60))
