"""What a breed's population figures mean for the club, each in a sentence with its count, or why it is not told."""

from dataclasses import dataclass, field

from herds.models import Animal
from herds.words import count_words
from pedigrees.words import percent

LEAST_COUNTED = 20  # animals that an effective size is told from, and parents that a generation interval is
GENERATIONS = ("parents", "grandparents", "great-grandparents", "4th generation", "5th generation", "6th generation")
SHALLOW = 3.0  # complete generations under which figures flatter the breed


@dataclass
class Figure:
    """One figure of the page; `value` is empty and `why_not` says why when it is held back or cannot be told."""

    name: str
    title: str
    value: str = ""
    sentence: str = ""
    note: str = ""
    why_not: str = ""


@dataclass
class Population:
    """Everything the page shows of one run."""

    animals: int
    without_year: int
    cohort: dict
    held: str
    figures: list = field(default_factory=list)
    years: list = field(default_factory=list)
    generations: list = field(default_factory=list)
    founders: list = field(default_factory=list)
    ancestors: list = field(default_factory=list)


def held_back(animals, herds, club) -> str:
    """Why a group is not shown breed-wide; empty when it may be."""
    if animals >= club.smallest_group_animals and herds >= club.smallest_group_herds:
        return ""
    return (
        f"Held back: the club shows a group from {count_words(club.smallest_group_animals, 'animal')} of "
        f"{count_words(club.smallest_group_herds, 'herd')} on; here are {animals:,} of {herds:,}."
    )


def population_of(figures, club) -> Population:
    """The stored numbers of a run in words. One query, for the names of founders and ancestors."""
    cohort = figures["cohort"]
    held = held_back(cohort["animals"], cohort["herds"], club)
    found = Population(figures["animals"], figures["without_year"], cohort, held)
    found.years = [_year(row, club) for row in figures["years"]]
    breeding_on = _interval(figures["interval"])
    if held:
        found.figures = [breeding_on]
        return found
    found.figures = [
        _size(figures["size"], figures["depth"]),
        _mean(figures),
        _founders(figures["founders"]),
        _ancestors(figures["ancestors"]),
        _genomes(figures),
        breeding_on,
        _depth(figures["depth"]),
    ]
    found.generations = list(zip(GENERATIONS, figures["known"], strict=True))
    named = figures["founders"]["top"] + figures["ancestors"]["top"]
    animals = Animal.objects.in_bulk([each["animal"] for each in named])
    found.founders = [
        (_named(each, animals), animals.get(each["animal"]), each["share"]) for each in figures["founders"]["top"]
    ]
    found.ancestors = [
        (_named(each, animals), animals.get(each["animal"]), each["share"]) for each in figures["ancestors"]["top"]
    ]
    return found


def _named(each, animals):
    """The animal, or 'the unknown parent of' it."""
    name = str(animals.get(each["animal"]) or "an animal that is no longer in the registry")
    return f"the unknown parent of {name}" if each["unknown_parent"] else name


def _year(row, club):
    held = held_back(row["known"], row["known_herds"], club)
    if not row["known"]:
        held = "Not told: of no animal of this year are both parents known."
    return row | {"held": held}


def _size(size, depth):
    figure = Figure("size", "Effective size")
    if size["nobody_inbred"]:
        figure.why_not = "Cannot be told yet: no animal of these years is inbred, as far as pedigrees reach."
    elif size["size"] is None or size["counted"] < LEAST_COUNTED:
        figure.why_not = (
            f"Not enough: only {count_words(size['counted'], 'animal')} of these years "
            f"{'has' if size['counted'] == 1 else 'have'} more than one complete generation of ancestors; "
            f"{LEAST_COUNTED} are needed."
        )
    else:
        animals = round(size["size"])
        figure.value = f"{animals:,}"
        figure.sentence = (
            f"The club breeds as narrowly as if {animals:,} animals chosen at random were its parents each generation."
        )
        figure.note = f"From {size['counted']:,} animals, standard error {size['error']:.1f}."
        if depth < SHALLOW:
            figure.note += " Pedigrees are short here, which makes this figure uncertain."
        figure.note += " A common rule of thumb wants at least 50."  # from memory: FAO guidelines, breeds at risk
    return figure


def _mean(figures):
    together = figures["random_mating"]
    return Figure(
        "inbreeding",
        "Mean inbreeding",
        percent(figures["mean_inbreeding"]),
        f"If two of these animals were mated at random, their kits would be inbred by {percent(together)}; the "
        f"club's own matings gave {percent(figures['mean_inbreeding'])}."
        if together is not None
        else "There is only one animal, so there are no two to be mated.",
        f"From {count_words(figures['cohort']['animals'], 'animal')}; an unknown parent counts as unrelated.",
    )


def _founders(founders):
    return Figure(
        "founders",
        "Founders",
        f"{founders['count']:,}",
        f"All that these animals carry came in through {count_words(founders['count'], 'founder')}: as much variety as "
        f"{founders['effective']:.1f} with equal shares would have brought.",
        "A founder is an ancestor without known parents. An unknown parent counts as one as well.",
    )


def _ancestors(ancestors):
    least, most = f"{ancestors['least']:.1f}", f"{ancestors['most']:.1f}"
    value = least if least == most else f"{least} to {most}"
    half = ancestors["for_half"]
    sentence = f"Half of their genes came through {count_words(half, 'ancestor')} alone. " if half else ""
    return Figure(
        "ancestors",
        "Effective ancestors",
        value,
        f"{sentence}They carry as much variety as {value} ancestors with equal shares would have left.",
        "Far fewer than effective founders means that a few favoured animals narrowed the breed later on.",
    )


def _genomes(figures):
    genomes = figures["genomes"]
    return Figure(
        "genomes",
        "Founder genomes left",
        f"{genomes:.1f}",
        f"By chance so much was lost on the way that {genomes:.1f} unrelated animals would hold as much variety as "
        "all of these together.",
        f"From {count_words(figures['cohort']['animals'], 'animal')}.",
    )


def _interval(interval):
    figure = Figure("interval", "Generation interval")
    if problem := interval.get("problem"):
        figure.why_not = f"Cannot be told: {problem}"
    elif interval["years"] is None or sum(interval["counted"]) < LEAST_COUNTED:
        figure.why_not = (
            f"Not enough: {sum(interval['counted'])} pairs of a parent and its young that bred on have both birth "
            f"dates; {LEAST_COUNTED} are needed."
        )
    else:
        figure.value = f"{interval['years']:.1f} years"
        figure.sentence = f"Parents are {figure.value} old on average when the young are born that breed on after them."
        words = ("sire to son", "sire to daughter", "dam to son", "dam to daughter")
        told = [
            f"{word} {years:.1f} ({count:,})" if years is not None else f"{word} none"
            for word, years, count in zip(words, interval["paths"], interval["counted"], strict=True)
        ]
        figure.note = f"In years, with the number of pairs: {', '.join(told)}."
    return figure


def _depth(depth):
    return Figure(
        "depth",
        "Complete generations known",
        f"{depth:.1f}",
        "What is known of their ancestors makes up so many complete generations.",
        "From so few generations all figures here flatter the breed." if depth < SHALLOW else "",
    )
