from .certificate import Certificate
from .inbreeding import Inbreeding, RegisteredAnimal
from .population import PopulationRun

__all__ = ["Certificate", "Inbreeding", "PopulationRun", "RegisteredAnimal"]
