"""What an evaluation refuses; every refusal is a sentence that can be shown to a person."""


class EvaluationError(ValueError):
    """Records, variances or a question that no sensible answer can be worked out from."""


class WrongInput(EvaluationError):
    """Arrays that do not belong together, or numbers outside their range."""


class NothingToEstimate(EvaluationError):
    """Records that hold no information on the variances asked for."""
