"""Reads for the planner: which does and bucks may be chosen, and everything about the chosen pairs."""

from dataclasses import dataclass
from datetime import timedelta

from django.db.models import Exists, OuterRef, Q
from django.utils import timezone

from clubsite.members.models import Club
from herds.models import Animal, Herd, Mating, Quarantine, Sex
from herds.relations import close_relation, with_grandparents
from herds.words import age_words, day_words
from pedigrees import load
from pedigrees.forecasts import forecast
from pedigrees.planning.ranking import pairs_of

MOST_DOES, MOST_BUCKS, MOST_CELLS = 40, 30, 80
OLD_DAYS = 5 * 365  # common practice, no source


def does_for(member, herd):
    """Grown does that stand in a herd of the member's."""
    youngest = timezone.localdate() - timedelta(days=Club.current().breeding_age_days)
    return (
        Animal.objects.kept_by(member)
        .filter(herd=herd, sex=Sex.DOE)
        .filter(Q(born_on__isnull=True) | Q(born_on__lte=youngest))
        .here()
        .select_related("breed", "herd")
        .by_mark()
    )


def bucks_for(member):
    """Grown bucks of the member's own herds, and those that their owners offer to the club."""
    youngest = timezone.localdate() - timedelta(days=Club.current().breeding_age_days)
    own = Q(herd__in=Herd.objects.kept_by(member))
    return (
        Animal.objects.visible_to(member)
        .filter(own | Q(offered_to_club=True), sex=Sex.BUCK, herd__isnull=False)
        .filter(Q(born_on__isnull=True) | Q(born_on__lte=youngest))
        .annotate(is_own=Exists(Herd.objects.kept_by(member).filter(pk=OuterRef("herd"))))
        .here()
        .select_related("breed", "herd")
        .by_mark()
    )


@dataclass(frozen=True)
class Plan:
    """The chosen does and bucks, all their pairs (d by b), what the figures stand on, and cautions by animal key."""

    does: list
    bucks: list
    pairs: list
    basis: str
    cautions: dict
    club: Club

    @property
    def small(self):
        """Whether all pairs fit into one table that can still be read."""
        return len(self.does) * len(self.bucks) <= MOST_CELLS

    def ranked(self):
        """[(doe, pairs from the best to the last)]"""
        return [(doe, sorted(row, key=lambda pair: pair.order)) for doe, row in zip(self.does, self.pairs, strict=True)]


def plan_of(member, does, bucks):
    """The Plan of these animals, in a fixed number of queries however many they are. Raises load.PedigreeProblem."""
    club = Club.current()
    inbreeding = load.coancestry_between([doe.pk for doe in does], [buck.pk for buck in bucks])
    family = with_grandparents(*(animal.pk for animal in (*does, *bucks)))
    relations = {
        (doe.pk, buck.pk): said
        for doe in does
        for buck in bucks
        if (said := close_relation(family[doe.pk], family[buck.pk]))
    }
    told = forecast(member, does, bucks, inbreeding)
    pairs = pairs_of(
        does, bucks, inbreeding, told, close_from=club.close_mating_percent / 100, relations=relations
    )  # fmt: skip
    basis = told.basis if told else "No look of these animals may be seen, so only kinship can be told."
    return Plan(does, bucks, pairs, basis, cautions_of(member, does, bucks, club), club)


def cautions_of(member, does, bucks, club):
    """{animal key: [sentence]} on what speaks against mating an animal just now, as far as the member may read it.

    Of a buck that is offered to the club everybody who may choose him is told that he is kept apart.
    """
    today = timezone.localdate()
    animals = [*does, *bucks]
    found: dict = {animal.pk: [] for animal in animals}
    kept = Herd.objects.kept_by(member)
    told = Q(animal__herd__in=kept) | Q(animal__in=bucks, animal__offered_to_club=True)
    kept_apart = Quarantine.objects.filter(told, animal__in=animals, ended_on__isnull=True)
    for animal, until in kept_apart.values_list("animal", "planned_until"):
        found[animal].append(f"in quarantine until {day_words(until)}")
    since = today - timedelta(days=club.latest_kindling_days)
    running = Mating.objects.filter(Q(doe__herd__in=kept) | Q(pk__in=Mating.objects.visible_to(member).values("pk")))
    running = running.filter(doe__in=does, ended_on__isnull=True, litters__isnull=True, mated_on__gte=since)
    for doe, day in running.values_list("doe", "mated_on"):
        found[doe].append(f"mated on {day_words(day)}, not yet kindled")
    for animal in animals:
        if animal.born_on is None:
            found[animal.pk].append("birth date not known")
        elif (today - animal.born_on).days > OLD_DAYS:
            found[animal.pk].append(f"{age_words(animal.born_on, today)} old: ask your vet before mating her or him")
    return {key: said for key, said in found.items() if said}
