"""What the statistics of agreement refuse; every refusal is a sentence that can be shown to a person."""


class WrongInput(ValueError):
    """Steps off the scale, arrays that do not belong together, or a choice that does not exist."""
