from . import history
from .basis import Basis
from .evaluation import EvaluationRun, Merit, RunState, TraitEvaluation
from .kit_fit import KitFit
from .look import Answer, CoatStage, Light, Look, LookFinding, Mode, Role
from .photo import Photo, PhotoState, View
from .points import PointsLine, PointsSheet
from .profile import (
    AgeClass,
    BreedProfile,
    FindingKind,
    Position,
    ProfileFinding,
    ProfileTrait,
    Site,
    StepText,
    Summary,
    Trait,
    WeightClass,
)
from .weight_band import WeightBand

__all__ = [
    "AgeClass",
    "Answer",
    "Basis",
    "BreedProfile",
    "CoatStage",
    "EvaluationRun",
    "FindingKind",
    "KitFit",
    "Light",
    "Look",
    "LookFinding",
    "Merit",
    "Mode",
    "Photo",
    "PhotoState",
    "PointsLine",
    "PointsSheet",
    "Position",
    "ProfileFinding",
    "ProfileTrait",
    "Role",
    "RunState",
    "Site",
    "StepText",
    "Summary",
    "Trait",
    "TraitEvaluation",
    "View",
    "WeightBand",
    "WeightClass",
    "history",
]
