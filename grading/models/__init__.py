from .look import Answer, CoatStage, Light, Look, LookFinding, Mode, Role
from .photo import Photo, PhotoState, View
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

__all__ = [
    "AgeClass",
    "Answer",
    "BreedProfile",
    "CoatStage",
    "FindingKind",
    "Light",
    "Look",
    "LookFinding",
    "Mode",
    "Photo",
    "PhotoState",
    "Position",
    "ProfileFinding",
    "ProfileTrait",
    "Role",
    "Site",
    "StepText",
    "Summary",
    "Trait",
    "View",
    "WeightClass",
]
