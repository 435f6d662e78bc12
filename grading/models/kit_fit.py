from django.db import models
from django.db.models import Q
from django.utils import timezone

from herds.models import Breed

from .profile import Trait


class KitFit(models.Model):
    """How grown kits of a breed took after the mean of their parents in one trait, from the club's own looks.

    kit = kit_mean + slope x (parents' mean - parent_mean), and `spread` is the standard deviation of what is left, in
    steps. The slope of progeny on the mean of both parents estimates heritability (Falconer and Mackay, Introduction
    to Quantitative Genetics, chapter 10), here with all that graders, age and coat add. `with_surface` is the
    correlation of what is left in this trait with what is left in surface shade.
    """

    breed = models.ForeignKey(Breed, models.CASCADE, related_name="kit_fits")
    trait = models.ForeignKey(Trait, models.CASCADE, related_name="kit_fits")
    kits = models.PositiveIntegerField(help_text="Graded animals whose parents both were graded.")
    slope = models.FloatField(null=True)
    parent_mean = models.FloatField(null=True)
    kit_mean = models.FloatField(null=True)
    spread = models.FloatField(null=True)
    with_surface = models.FloatField(null=True)
    made_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["breed", "trait"], name="kit_fit_once"),
            models.CheckConstraint(condition=Q(spread__isnull=True) | Q(spread__gte=0), name="kit_fit_spread"),
            models.CheckConstraint(
                condition=Q(with_surface__isnull=True) | Q(with_surface__gte=-1, with_surface__lte=1),
                name="kit_fit_correlation",
            ),
        ]

    def __str__(self):
        return f"{self.trait} in {self.breed}"
