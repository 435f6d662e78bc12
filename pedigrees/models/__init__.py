from .certificate import Certificate

__all__ = ["Certificate"]
