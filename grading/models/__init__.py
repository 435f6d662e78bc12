from . import history
from .basis import Basis
from .calibration import (
    CalibrationAnswer,
    CalibrationItem,
    CalibrationSet,
    GraderResult,
    ItemTruth,
    Seat,
    SetState,
)
from .calibration_news import CalibrationNews
from .consent import PhotoConsent
from .evaluation import EvaluationRun, Merit, RunState, TraitEvaluation
from .kit_fit import KitFit
from .look import Answer, CoatStage, Light, Look, LookFinding, Mode, Role
from .photo import Photo, PhotoState, View
from .points import PointsLine, PointsSheet
from .practice import Guess
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
from .review import Drawing, Question, Review, ReviewAnimal, ReviewNews, ReviewState, ReviewWord, ViewWish
from .season import Aim, ItemState, SeasonItem
from .season_news import SeasonNews
from .weight_band import WeightBand

__all__ = [
    "AgeClass",
    "Aim",
    "Answer",
    "Basis",
    "BreedProfile",
    "CalibrationAnswer",
    "CalibrationItem",
    "CalibrationNews",
    "CalibrationSet",
    "CoatStage",
    "Drawing",
    "EvaluationRun",
    "FindingKind",
    "GraderResult",
    "Guess",
    "ItemState",
    "ItemTruth",
    "KitFit",
    "Light",
    "Look",
    "LookFinding",
    "Merit",
    "Mode",
    "Photo",
    "PhotoConsent",
    "PhotoState",
    "PointsLine",
    "PointsSheet",
    "Position",
    "ProfileFinding",
    "ProfileTrait",
    "Question",
    "Review",
    "ReviewAnimal",
    "ReviewNews",
    "ReviewState",
    "ReviewWord",
    "Role",
    "RunState",
    "SeasonItem",
    "SeasonNews",
    "Seat",
    "SetState",
    "Site",
    "StepText",
    "Summary",
    "Trait",
    "TraitEvaluation",
    "View",
    "ViewWish",
    "WeightBand",
    "WeightClass",
    "history",
]
