"""What an evaluation refuses; every refusal is a sentence that can be shown to a person."""


class EvaluationError(ValueError):
    """Records, variances or a question that no sensible answer can be worked out from."""


class WrongInput(EvaluationError):
    """Arrays that do not belong together, or numbers outside their range."""


class NothingToEstimate(EvaluationError):
    """Records that hold no information on the variances asked for."""


class AboutLevels(str):
    """A warning about levels of a fixed effect, which also holds them as codes, for whoever can say them in words.

    effect : its name. codes : of the levels, ascending. trait : 0 or 1, of two traits solved together.
    """

    effect: str
    codes: tuple[int, ...]
    trait: int

    def __new__(cls, sentence: str, effect: str, codes: tuple[int, ...], trait: int = 0) -> "AboutLevels":
        said = super().__new__(cls, sentence)
        said.effect, said.codes, said.trait = effect, codes, trait
        return said
