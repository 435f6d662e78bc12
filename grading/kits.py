"""What to expect of a pair's kits from the parents' own looks, by how the club's grown kits took after theirs."""

from dataclasses import dataclass

import numpy as np
from django.db import connection, transaction
from django.db.models import Avg, Count, Exists, OuterRef, Q
from django.utils import timezone

from grading.figures import percent
from grading.models import Answer, BreedProfile, KitFit, Look, LookFinding, ProfileFinding, Trait
from grading.two_normals import inside
from pedigrees.forecasts import Forecast, TraitForecast

FEWEST_KITS = 30  # under so many grown kits the club's own slope says nothing, and parents' means are taken as they are

ANIMAL_MEANS = """
    SELECT look.animal_id AS animal, answer.trait_id AS trait, avg(answer.step)::float8 AS step
    FROM grading_answer answer JOIN grading_look look ON look.id = answer.look_id
    JOIN herds_animal one ON one.id = look.animal_id
    WHERE look.current AND answer.step IS NOT NULL AND one.breed_id = %s
    GROUP BY 1, 2
"""
PAIRS = f"""
    WITH means AS MATERIALIZED ({ANIMAL_MEANS})
    SELECT kit.trait, kit.animal, kit.step, (sire.step + dam.step) / 2
    FROM means kit JOIN herds_animal a ON a.id = kit.animal
    JOIN means sire ON sire.animal = a.sire_id AND sire.trait = kit.trait
    JOIN means dam ON dam.animal = a.dam_id AND dam.trait = kit.trait
    ORDER BY kit.trait, kit.animal
"""  # noqa: S608 - only our own text is put in
ALONE = f"SELECT trait, count(*), avg(step), stddev_samp(step) FROM ({ANIMAL_MEANS}) each GROUP BY trait"  # noqa: S608


@dataclass(frozen=True)
class Line:
    """kit = kit_mean + slope (parents - parent_mean); `rest` (n,) what is left of each kit, in steps."""

    slope: float
    parent_mean: float
    kit_mean: float
    spread: float
    rest: np.ndarray


def fitted(kit, parents):
    """The least-squares Line of kits' steps, float (n,), on the mean of their parents', float (n,); None under three.

    The slope is kept between 0 and 1: outside it, chance or the graders speak, and not heredity.
    """
    kit, parents = np.asarray(kit, dtype=float), np.asarray(parents, dtype=float)
    if len(kit) < 3:
        return None
    around = parents - parents.mean()
    slope = float(np.clip(around @ (kit - kit.mean()) / (around @ around), 0, 1)) if around.any() else 0.0
    rest = kit - kit.mean() - slope * around
    spread = float(np.sqrt(rest @ rest / (len(kit) - 2)))
    return Line(slope, float(parents.mean()), float(kit.mean()), spread, rest)


def refresh_fits(breed_id):
    """Work out, from all current looks of a breed, how its kits took after their parents. Returns the KitFits."""
    with connection.cursor() as cursor:
        cursor.execute(PAIRS, [breed_id])
        rows = np.array(cursor.fetchall(), dtype=float).reshape(-1, 4)
        cursor.execute(ALONE, [breed_id])
        alone = {trait: (count, mean, spread) for trait, count, mean, spread in cursor.fetchall()}
    surface = Trait.objects.filter(summary="surface").values_list("pk", flat=True).first()
    by_trait = {trait: rows[rows[:, 0] == trait] for trait in alone}
    lines = {trait: fitted(part[:, 2], part[:, 3]) for trait, part in by_trait.items()}
    now, made = timezone.now(), []
    for trait, (_count, mean, spread) in alone.items():
        kits, line = len(by_trait[trait]), lines[trait]
        fit = KitFit(breed_id=breed_id, trait_id=trait, kits=kits, kit_mean=mean, spread=spread, made_at=now)
        if line and kits >= FEWEST_KITS:
            fit.slope, fit.parent_mean, fit.kit_mean, fit.spread = (
                line.slope, line.parent_mean, line.kit_mean, line.spread,
            )  # fmt: skip
            fit.with_surface = _together(by_trait, lines, trait, surface)
        made.append(fit)
    with transaction.atomic():
        KitFit.objects.filter(breed=breed_id).delete()
        return KitFit.objects.bulk_create(made)


def _together(by_trait, lines, trait, surface):
    """Correlation of what is left in a trait and in surface shade, over kits that have both; None under FEWEST_KITS."""
    if surface not in lines or lines[surface] is None:
        return None
    _, one, other = np.intersect1d(by_trait[trait][:, 1], by_trait[surface][:, 1], return_indices=True)
    rest = lines[trait].rest[one], lines[surface].rest[other]
    if len(one) < FEWEST_KITS or not all(each.std() > 0 for each in rest):
        return None
    return float(np.clip(np.corrcoef(*rest)[0, 1], -1, 1))


def fits_of(breed_id):
    """{trait key: KitFit} of a breed; worked out now when nobody has done so yet."""
    found = {fit.trait_id: fit for fit in KitFit.objects.filter(breed=breed_id)}
    return found or {fit.trait_id: fit for fit in refresh_fits(breed_id)}


def refresh_all():
    """For the nightly jobs: every breed that has looks."""
    breeds = Look.objects.current().values_list("animal__breed", flat=True).distinct()
    return sum(len(refresh_fits(breed)) for breed in breeds)


def means_of(member, animals):
    """{(animal key, trait key): mean step} of the current looks the member may see; prime ones, where there are any."""
    seen = Look.objects.visible_to(member).current().filter(animal__in=animals)
    answers = Answer.objects.filter(look__in=seen.values("pk"), step__isnull=False).order_by()
    prime = Q(look__provisional=False)
    rows = answers.values_list("look__animal", "trait").annotate(
        prime=Avg("step", filter=prime), any=Avg("step"), looks=Count("look", distinct=True)
    )
    return {(animal, trait): _first(mean, other) for animal, trait, mean, other, _ in rows}


def _first(*values):
    return next((float(value) for value in values if value is not None), float("nan"))


def from_parents(member, does, bucks, inbreeding):
    """The Forecast from the parents' own looks; None when no doe and no buck has a look the member may see."""
    animals = [*does, *bucks]
    if not animals:
        return None
    breed = does[0].breed_id if does else bucks[0].breed_id
    means = means_of(member, animals)
    if not means:
        return None
    profile = BreedProfile.in_force(breed, timezone.localdate())
    goals = {row.trait_id: row.goal_for("") for row in profile.traits.all()} if profile else {}
    fits, traits, leading = fits_of(breed), [], {}
    for trait in Trait.objects.filter(pk__in={trait for _, trait in means}):
        parents = _parents(trait.pk, does, bucks, means)
        mean, spread = expected(parents, fits.get(trait.pk))
        lead = trait.summary if trait.summary in ("surface", "undercolor") else ""
        traits.append(TraitForecast(trait.code, trait.name, goals.get(trait.pk), mean, spread, lead))
        if lead:
            leading[lead] = (traits[-1], fits.get(trait.pk))
    traits.sort(key=lambda each: (each.leading != "surface", each.leading != "undercolor"))
    seen = {animal for animal, _ in means}
    return Forecast(
        basis=basis_words(fits, leading),
        traits=traits,
        both_goals=both_goals(leading, np.shape(inbreeding)),
        shared_faults=shared_faults(member, does, bucks, profile),
        unseen=frozenset(animal.pk for animal in animals if animal.pk not in seen),
    )


def _parents(trait, does, bucks, means):
    """(d, b) mean of both parents' steps; NaN where one of them is not known."""
    doe = np.array([means.get((animal.pk, trait), np.nan) for animal in does])
    buck = np.array([means.get((animal.pk, trait), np.nan) for animal in bucks])
    return (doe[:, None] + buck[None, :]) / 2


def expected(parents, fit):
    """(mean, spread) of kits for parents' means (d, b), by a KitFit; as they are where the club has too few kits."""
    if fit is None or fit.spread is None:
        return parents, np.full(parents.shape, np.nan)
    spread = np.where(np.isnan(parents), np.nan, fit.spread)
    if fit.slope is None:
        return parents, spread
    return fit.kit_mean + fit.slope * (parents - fit.parent_mean), spread


def both_goals(leading, shape):
    """(d, b) chance of a kit inside both goal ranges: two normal traits with the correlation of what is left.

    A step stands for all that rounds to it, so that a goal of 6 to 8 reaches from 5.5 to 8.5. NaN without both goals.
    """
    chance = np.full(shape, np.nan)
    if set(leading) != {"surface", "undercolor"} or not all(row.goal for row, _ in leading.values()):
        return chance
    (surface, _), (under, fit) = leading["surface"], leading["undercolor"]
    together = (fit.with_surface if fit else None) or 0.0
    (low, high), (under_low, under_high) = surface.goal, under.goal
    return inside(
        (low - 0.5, under_low - 0.5),
        (high + 0.5, under_high + 0.5),
        (surface.mean, under.mean),
        (surface.spread, under.spread),
        together,
    )


def basis_words(fits, leading):
    """What the figures stand on, in a sentence for a breeder."""
    fit = leading.get("undercolor", leading.get("surface", (None, None)))[1]
    if fit is None or fit.slope is None:
        kits = fit.kits if fit else 0
        return (
            f"From the parents' own looks as they are: the club has only {kits} grown kits with both parents graded, "
            f"too few (under {FEWEST_KITS}) to see how much of it kits take after them. Expect them nearer the "
            "club's average than their parents are."
        )
    return (
        f"From the parents' own looks, and from how {fit.kits} grown kits of the club took after theirs: of what "
        f"parents differ from the average in undercolor, about {percent(fit.slope)} showed in their kits. "
        "Graders, age and coat are not taken out."
    )


def shared_faults(member, does, bucks, profile):
    """{(doe, buck): [words]} of findings that the profile faults and that were seen on both."""
    if profile is None:
        return {}
    wanted = profile.findings.exclude(effect=ProfileFinding.Effect.NOTE).select_related("kind")
    names = {row.kind_id: f"{row.kind.name} ({row.get_effect_display()})" for row in wanted}
    looks = Look.objects.visible_to(member).current().filter(pk=OuterRef("look"))
    rows = LookFinding.objects.filter(
        Exists(looks), look__animal__in=[*does, *bucks], kind__in=names, state=LookFinding.State.SEEN
    )
    seen: dict = {}
    for animal, kind in rows.values_list("look__animal", "kind").distinct():
        seen.setdefault(animal, set()).add(kind)
    return {
        (doe.pk, buck.pk): [names[kind] for kind in sorted(both)]
        for doe in does
        for buck in bucks
        if (both := seen.get(doe.pk, set()) & seen.get(buck.pk, set()))
    }
