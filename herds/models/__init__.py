from . import history
from .animal import PRESENT, YOUNGEST_PARENT_DAYS, Animal, Breed, Sex, Status
from .animal_grant import AnimalGrant
from .breeding import Kit, Litter, LitterEvent, Mating, MatingEvent, WhitePlace
from .care import Decision, Dismissal, Quarantine, Verdict, Weight
from .duplicate import DuplicateState, PossibleDuplicate
from .feed import FeedAddress, FeedWords
from .health import HealthNote
from .herd import Grant, Herd, Ownership
from .identity import Correction, Mark, MarkKind, Transfer
from .line import Line, LineAnimal, LinePart, LineRule
from .merge import Merge
from .sheet import (
    BatchState,
    ImportBatch,
    ImportChange,
    ImportProgress,
    ImportRow,
    RowKind,
    RowOutcome,
    SheetLayout,
)

__all__ = [
    "PRESENT",
    "YOUNGEST_PARENT_DAYS",
    "Animal",
    "AnimalGrant",
    "BatchState",
    "Breed",
    "Correction",
    "Decision",
    "Dismissal",
    "DuplicateState",
    "FeedAddress",
    "FeedWords",
    "Grant",
    "HealthNote",
    "Herd",
    "ImportBatch",
    "ImportChange",
    "ImportProgress",
    "ImportRow",
    "Kit",
    "Line",
    "LineAnimal",
    "LinePart",
    "LineRule",
    "Litter",
    "LitterEvent",
    "Mark",
    "MarkKind",
    "Mating",
    "MatingEvent",
    "Merge",
    "Ownership",
    "PossibleDuplicate",
    "Quarantine",
    "RowKind",
    "RowOutcome",
    "Sex",
    "SheetLayout",
    "Status",
    "Transfer",
    "Verdict",
    "Weight",
    "WhitePlace",
    "history",
]
