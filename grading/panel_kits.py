"""The planner's forecasts: from merits where a run has any, else from the parents' looks."""

from clubsite.nightly import NightlyJob
from clubsite.nightly import register as each_night
from pedigrees.forecasts import Forecaster, register

from .actions.evaluations import run_all_changed
from .kits import from_parents, refresh_all
from .kits_by_merit import from_merits


def register_parts():
    register(Forecaster("parents' merits", 20, from_merits))
    register(Forecaster("parents' looks", 50, from_parents))
    each_night(NightlyJob("kit fits", "How kits took after their parents", refresh_all, 40))
    each_night(NightlyJob("evaluation", "The mixed model over what changed", run_all_changed, 60))
