"""The breeding calendar: what is due in a barn, worked out from the log and the club's settings."""

from .rules import due
from .task import Answer, HealthRow, LitterRow, MatingRow, QuarantineRow, Rows, State, Task

__all__ = ["Answer", "HealthRow", "LitterRow", "MatingRow", "QuarantineRow", "Rows", "State", "Task", "due"]
