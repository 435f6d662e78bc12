"""What to expect of a pair's kits from the parents' merits: mean, spread and the chance of both goals.

A kit's merit is the mean of its parents' and a Mendelian draw of variance

    (1 / 2) (1 - (F_sire + F_dam) / 2) x genetic variance

(Henderson 1976, Biometrics 32:69-83; Quaas 1976, Biometrics 32:949-953; both parents known). The parents' merits are
themselves known with an error of variance (1 - reliability) (1 + F) x genetic variance, of which a quarter each goes
into the kits; and what is seen of a coat holds the permanent environment and what litters share as well. Approximate:
the two parents' errors are taken for independent (they share looks and ancestors, a little), errors of the two traits
to go together as the genes do, and the variances as known. A single look scatters more: its residual is left out.
"""

from dataclasses import dataclass

import numpy as np
from django.utils import timezone

from grading import merit_words, merits
from grading.figures import percent
from grading.kits import shared_faults
from grading.models import BreedProfile
from grading.two_normals import inside
from herds.words import day_words, listed
from pedigrees.forecasts import Forecast, TraitForecast
from pedigrees.models import Inbreeding

LEADING = ("surface", "undercolor")


@dataclass(frozen=True, eq=False)
class Parents:
    """Merits (n,) and reliabilities (n,) of one trait, NaN where not to be read, and stored inbreeding (n,)."""

    merit: np.ndarray
    reliability: np.ndarray
    inbreeding: np.ndarray

    @property
    def error(self):
        """(n,) error variance of the merits as a share of the genetic variance."""
        return (1 - self.reliability) * (1 + self.inbreeding)


def mendelian_share(of_does, of_bucks):
    """(d, b) Mendelian variance of kits as a share of the genetic variance, by their parents' inbreeding."""
    return 0.5 * (1 - (np.asarray(of_does)[:, None] + np.asarray(of_bucks)[None, :]) / 2)


def expected(does, bucks, genetic, lasting):
    """(mean, spread) of the kits of d does and b bucks, each Parents; (d, b) in steps beside merit 0.

    genetic, lasting : the genetic variance, and that of all else that lasts in a coat. NaN where a merit is not known.
    """
    mean = (does.merit[:, None] + bucks.merit[None, :]) / 2
    share = mendelian_share(does.inbreeding, bucks.inbreeding)
    share = share + (does.error[:, None] + bucks.error[None, :]) / 4
    return mean, np.where(np.isnan(mean), np.nan, np.sqrt(share * genetic + lasting))


def together(first, second, genetic, lasting):
    """(d, b) covariance of two traits in kits. first, second : (does, bucks), Parents; genetic, lasting : covariances.

    Errors of a parent's two merits go together as the genes do, by the geometric mean of their two shares.
    """
    share = mendelian_share(first[0].inbreeding, first[1].inbreeding)
    of_does, of_bucks = (np.sqrt(one.error * other.error) for one, other in zip(first, second, strict=True))
    return (share + (of_does[:, None] + of_bucks[None, :]) / 4) * genetic + lasting


def lasting_of(evaluation):
    """Variance of what lasts in a coat beside the merit: permanent environment, and what litters share."""
    return sum(evaluation.variances.get(name) or 0.0 for name in ("permanent", "litter"))


def lasting_between(standing):
    """Covariance of surface shade and undercolor in what lasts beside the merits; 0 where no run told it."""
    tables = (standing.together or {}).get("covariances") or {}
    found = 0.0
    for name in ("permanent", "litter"):
        table = np.array(tables.get(name) or np.zeros((2, 2)), dtype=float)
        sizes = [max(each.variances.get(name) or 0.0, 0.0) for each in (standing.surface, standing.undercolor)]
        product = table[0, 0] * table[1, 1]
        if product > 0:  # the run's correlation, with the variances that each trait's own run found
            found += float(np.clip(table[0, 1] / np.sqrt(product), -1, 1)) * (sizes[0] * sizes[1]) ** 0.5
    return found


def from_merits(member, does, bucks, inbreeding):
    """The Forecast from the parents' merits; None where no pair has a merit on both sides that the member may see."""
    animals = [*does, *bucks]
    standing = merits.current(animals[0].breed_id) if animals else None
    if standing is None:
        return None
    found = merits.read(standing, animals, member)
    seen = [{animal.pk for animal in side if _leading(standing, found.get(animal.pk))} for side in (does, bucks)]
    if not all(seen):
        return None
    profile = BreedProfile.in_force(animals[0].breed_id, timezone.localdate())
    goals = {row.trait_id: row.goal_for("") for row in profile.traits.all()} if profile else {}
    stored = dict(Inbreeding.objects.current().filter(animal__in=animals).values_list("animal", "value"))
    parents, traits, leading = {}, [], {}
    for key, evaluation in sorted(standing.traits.items(), key=lambda pair: _place(pair[1].trait)):
        trait, genetic = evaluation.trait, evaluation.variances.get("animal") or 0.0
        lead = trait.summary if trait.summary in LEADING else ""
        if not genetic and not lead:
            continue  # no animal differs from another
        parents[key] = tuple(_parents(side, found, key, stored) for side in (does, bucks))
        mean, spread = expected(*parents[key], genetic, lasting_of(evaluation))
        mean = mean + merits.reference(evaluation)
        traits.append(TraitForecast(trait.code, trait.name, goals.get(key), mean, spread, lead))
        if lead:
            leading[lead] = (traits[-1], key)
    traits.sort(key=lambda each: (each.leading != "surface", each.leading != "undercolor"))
    return Forecast(
        basis=basis_words(standing, does, bucks, found),
        traits=traits,
        both_goals=both_goals(standing, leading, parents, np.shape(inbreeding)),
        shared_faults=shared_faults(member, does, bucks, profile),
        unseen=frozenset(animal.pk for animal in animals if animal.pk not in seen[0] | seen[1]),
        unseen_words="merit",
        notes=notes_of(standing, does, bucks, found),
    )


def _leading(standing, found):
    """The merits of surface shade and undercolor among an animal's {trait key: MeritOf}."""
    keys = [each.trait_id for each in (standing.surface, standing.undercolor) if each is not None]
    return [found[key] for key in keys or standing.traits if key in found] if found else []


def _place(trait):
    return trait.section, trait.position, trait.code


def _parents(animals, found, trait, stored):
    none = (np.nan, np.nan)
    rows = [found.get(animal.pk, {}).get(trait) for animal in animals]
    values = np.array([none if row is None else (row.value, row.reliability) for row in rows], dtype=float)
    return Parents(*values.reshape(-1, 2).T, np.array([stored.get(animal.pk, 0.0) for animal in animals]))


def both_goals(standing, leading, parents, shape):
    """(d, b) chance of a kit inside both goal ranges, a step standing for all that rounds to it; NaN without both."""
    if set(leading) != set(LEADING) or not all(row.goal for row, _ in leading.values()):
        return np.full(shape, np.nan)
    (surface, first), (under, second) = (leading[name] for name in LEADING)
    genetic = merits.genetic_covariance(standing)[0][1]
    between = together(parents[first], parents[second], genetic, lasting_between(standing))
    spread = surface.spread * under.spread
    with np.errstate(invalid="ignore", divide="ignore"):
        correlation = np.where(spread > 0, between / spread, 0.0)
    (low, high), (under_low, under_high) = surface.goal, under.goal
    return inside(
        (low - 0.5, under_low - 0.5),
        (high + 0.5, under_high + 0.5),
        (surface.mean, under.mean),
        (surface.spread, under.spread),
        np.clip(correlation, -1, 1),
    )


# --- words -----------------------------------------------------------------------------------------------------------


def basis_words(standing, does, bucks, found):
    """What the figures stand on, in sentences for a breeder."""
    day = day_words(timezone.localtime(standing.run.ended_at).date())
    known = [
        f"the {one if len(side) == 1 else many} merits are {words}"
        for one, many, side in (("doe's", "does'", does), ("buck's", "bucks'", bucks))
        if (words := _range_words([_least(standing, found.get(animal.pk)) for animal in side]))
    ]
    return (
        f"From the parents' merits in the evaluation of {day}, with grader, age, coat and season taken out: what grown "
        f"kits in prime coat would be given. {listed(known).capitalize()}. “Give or take” holds the draw of the genes, "
        "what the parents' merits may be off, and what lasts in a coat without being bred; a single look scatters more."
    )


def _least(standing, found):
    """The lower reliability of an animal's leading merits; None without one."""
    return min((each.reliability for each in _leading(standing, found)), default=None)


def _range_words(reliabilities):
    told = sorted(each for each in reliabilities if each is not None)
    if not told:
        return ""
    low, high = merit_words.known_words(told[0]), merit_words.known_words(told[-1])
    if len(told) == 1:
        return f"{low} (reliability {percent(told[0])})"
    span = f"reliability {percent(told[0])} to {percent(told[-1])}"
    return f"{low} ({span})" if low == high else f"{low} to {high} ({span})"


def notes_of(standing, does, bucks, found):
    """{(doe key, buck key): sentence} on how well the merits of both are known."""
    said = {
        animal.pk: f"{animal} {merit_words.known_words(least)} ({percent(least)})"
        for animal in (*does, *bucks)
        if (least := _least(standing, found.get(animal.pk))) is not None
    }
    return {
        (doe.pk, buck.pk): f"Merits: {said[doe.pk]}, {said[buck.pk]}."
        for doe in does
        for buck in bucks
        if doe.pk in said and buck.pk in said
    }
