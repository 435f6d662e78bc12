"""Whether the breed moved, the graders moved, or it cannot be told: from slopes with their intervals to a sentence.

Three lines are set side by side: what was graded by year of birth, what is bred by year of birth (merits), and what
the grading itself did by calendar year. Pure; knows no model and no page.

* A line *moved* when its 95 % interval leaves out zero and it went a quarter of a step or more over the years shown.
* A line *held still* when its whole interval stays within half a step over the years shown: no grader tells that apart.
* Otherwise it *cannot be told*: the interval is too wide.
"""

from dataclasses import dataclass

from grading.figures import percent, signed

MOVED_STEPS = 0.25
STILL_STEPS = 0.5
FEWEST_YEARS = 3  # two years make a difference, no trend
FEW_LOOKS = 0.05  # share of the looks: if what is theirs were a whole step off, a year's mean would be off by this
MOVED, STILL, UNKNOWN = "moved", "still", "unknown"

SHORT = {
    (MOVED, STILL): "The breed moved, and the graders held still.",
    (STILL, MOVED): "The graders moved, and the breed held still.",
    (MOVED, MOVED): "Both moved, the breed and the graders.",
    (STILL, STILL): "Neither moved, the breed nor the graders.",
    (MOVED, UNKNOWN): "The breed moved. Whether the graders moved too cannot be told.",
    (UNKNOWN, MOVED): "The graders moved. Whether the breed moved too cannot be told.",
    (STILL, UNKNOWN): "The breed held still. Whether the graders moved cannot be told.",
    (UNKNOWN, STILL): "The graders held still. Whether the breed moved cannot be told.",
    (UNKNOWN, UNKNOWN): "Whether the breed moved or the graders did cannot be told.",
}


@dataclass(frozen=True)
class Line:
    """A straight line through yearly means: steps a year with its 95 % interval, and the years from first to last.

    slope, low, high are None where no line or no interval can be given.
    """

    first: int
    last: int
    years: int
    slope: float | None = None
    low: float | None = None
    high: float | None = None

    @property
    def is_known(self):
        return None not in (self.slope, self.low, self.high)

    @property
    def span(self):
        return self.last - self.first

    def over(self, value):
        """A slope as the change over the years shown, in steps."""
        return value * self.span

    @property
    def state(self):
        """MOVED, STILL or UNKNOWN."""
        if not self.is_known or self.years < FEWEST_YEARS:
            return UNKNOWN
        low, high, change = (self.over(value) for value in (self.low, self.high, self.slope))
        if (low > 0 or high < 0) and abs(change) >= MOVED_STEPS:
            return MOVED
        return STILL if max(abs(low), abs(high)) <= STILL_STEPS else UNKNOWN

    @property
    def words(self):
        """'+0.6 steps (0.4 to 0.8)', the change over the years shown; '' where there is no line."""
        return steps_words(*(self.over(value) for value in (self.slope, self.low, self.high))) if self.is_known else ""


@dataclass(frozen=True)
class Verdict:
    """breed, graders : MOVED, STILL or UNKNOWN. short : one sentence. long : what it rests on, sentences."""

    breed: str
    graders: str
    short: str
    long: tuple[str, ...]

    @property
    def text(self):
        return " ".join((self.short, *self.long))


def verdict(bred, grading, graded=None, *, apart=0, share=1.0, told=True, inherited=True):
    """The Verdict on one trait.

    bred, grading, graded : Lines, None where there is none. apart : graders whom nothing joins to the others. share :
    of all looks that are theirs; with few of them the lines are told all the same. told : whether the grading of the
    years can be told from ages, coats and modes at all. inherited : whether the looks show more inheritance than the
    error with which they show it; without it merits stay near zero whatever happens.
    """
    bred, grading = bred if inherited else None, grading if told else None
    barred = apart and share > FEW_LOOKS
    breed = bred.state if bred and not barred else UNKNOWN
    graders = grading.state if grading and not barred else UNKNOWN
    said = list(_figures(bred, grading, graded))
    if apart:
        who = "One grader is" if apart == 1 else f"{apart} graders are"
        alone = f"{who} joined to the others by no animal and no relative"
        if barred:
            said.append(f"{alone}, so what they saw differently may be theirs or the animals'.")
        else:
            looks = f"only {percent(share)} of the looks are theirs, too few to bend a line much."
            said.append(f"{alone}; {looks}")
    if not barred:
        said += _why_not("the breed", bred, breed, "birth years", NOT_INHERITED if not inherited else "")
        said += _why_not("the graders", grading, graders, "years of grading", NOT_TOLD if not told else "")
    return Verdict(breed, graders, SHORT[breed, graders], tuple(said))


NOT_INHERITED = "The looks show too little inheritance of this trait to follow what is bred."
NOT_TOLD = "The graders' years cannot be told from ages, coats or modes: too few looks differ in one thing alone."


def _figures(bred, grading, graded):
    """What the verdict rests on, in one or two sentences."""
    by_birth = [
        f"{words} by {line.words}"
        for words, line in (("the grades changed", graded), ("what is bred", bred))
        if line and line.is_known and line.span
    ]
    if by_birth:
        line = graded if graded and graded.is_known and graded.span else bred
        yield f"From the animals born in {line.first} to those born in {line.last} {', '.join(by_birth)}."
    if grading and grading.is_known and grading.span:
        yield f"From {grading.first} to {grading.last} the grading itself changed by {grading.words}."


def _why_not(who, line, state, years, reason):
    """Why the line of breed or graders cannot be told, in a sentence; none where it can."""
    if state != UNKNOWN:
        return
    if reason:
        yield reason
    elif line is None or line.years == 0:
        yield f"Of {who} there are no figures by year."
    elif line.years < FEWEST_YEARS:
        many = f"only one of the {years}" if line.years == 1 else f"only {line.years} {years}"
        yield f"The figures of {who} span {many}; a trend needs {FEWEST_YEARS}."
    elif not line.is_known:
        yield f"Of {who} no interval can be given."
    elif max(abs(line.low), abs(line.high)) * line.span > STILL_STEPS and (line.low <= 0 <= line.high):
        yield f"The interval of {who} is too wide to tell."


def steps_words(value, low=None, high=None):
    """'+0.6 steps (0.4 to 0.8)' with a true minus sign."""
    said = f"{signed(value, 1)} {'step' if abs(round(value, 1)) == 1 else 'steps'}"
    return said if low is None or high is None else f"{said} ({signed(low, 1)} to {signed(high, 1)})"
