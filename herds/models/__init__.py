from .animal import PRESENT, YOUNGEST_PARENT_DAYS, Animal, Breed, Sex, Status
from .breeding import Kit, Litter, LitterEvent, Mating, MatingEvent, WhitePlace
from .care import Decision, Dismissal, Quarantine, Verdict, Weight
from .herd import Grant, Herd, Ownership
from .identity import Correction, Mark, MarkKind, Transfer

__all__ = [
    "PRESENT",
    "YOUNGEST_PARENT_DAYS",
    "Animal",
    "Breed",
    "Correction",
    "Decision",
    "Dismissal",
    "Grant",
    "Herd",
    "Kit",
    "Litter",
    "LitterEvent",
    "Mark",
    "MarkKind",
    "Mating",
    "MatingEvent",
    "Ownership",
    "Quarantine",
    "Sex",
    "Status",
    "Transfer",
    "Verdict",
    "Weight",
    "WhitePlace",
]
