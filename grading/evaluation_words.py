"""What a run found of heredity, as a breeder reads it."""

from grading.figures import signed


def heritability_words(evaluation):
    """'0.44 (0.35 to 0.54)', or 'not known'."""
    low, value, high = (getattr(evaluation, f"heritability{end}") for end in ("_low", "", "_high"))
    if value is None:
        return "not known"
    return f"{value:.2f}" if low is None or high is None else f"{value:.2f} ({low:.2f} to {high:.2f})"


def genetic_words(genetic):
    """The genetic correlation of surface shade and undercolor in a sentence; '' where no run could tell it."""
    if genetic is None:
        return ""
    value, low, high = genetic
    known = f" ({signed(low)} to {signed(high)})" if low is not None and high is not None else ""
    said = f"Surface shade and undercolor are bound together by a genetic correlation of {signed(value)}{known}"
    if known and high < 0:
        return f"{said}: brighter animals tend to breed paler undercolor."
    if known and low > 0:
        return f"{said}: brighter animals tend to breed darker undercolor."
    return f"{said}; whether one costs the other cannot be told."


def together_words(together):
    """Surface shade and undercolor as a pair in a sentence: their genetic correlation, or why there is none; '' where
    the run did not ask."""
    together = together or {}
    if together.get("refused"):
        return f"Surface shade and undercolor could not be told together. {together['refused']}"
    genetic = together.get("genetic")
    if not genetic:
        return "The looks cannot tell how surface shade and undercolor go together in breeding." if together else ""
    if genetic.get("value") is None:
        return "The looks cannot tell how surface shade and undercolor go together in breeding."
    return genetic_words((genetic["value"], genetic.get("low"), genetic.get("high")))
