from . import history
from .basis import Basis
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
    "FindingKind",
    "KitFit",
    "Light",
    "Look",
    "LookFinding",
    "Mode",
    "Photo",
    "PhotoState",
    "PointsLine",
    "PointsSheet",
    "Position",
    "ProfileFinding",
    "ProfileTrait",
    "Role",
    "Site",
    "StepText",
    "Summary",
    "Trait",
    "View",
    "WeightBand",
    "WeightClass",
    "history",
]
