from .certificate import Certificate
from .inbreeding import Inbreeding, RegisteredAnimal
from .plan import PlannedMating
from .population import PopulationRun

__all__ = ["Certificate", "Inbreeding", "PlannedMating", "PopulationRun", "RegisteredAnimal"]
