"""Which points a weight has in a schedule, and when it is not judged at all."""

import pgtrigger
from django.db import models
from django.db.models import F, Q

from clubsite.constraints import sentence
from herds.models import Sex

from .editions import REFUSE, kept_once_published
from .profile import AgeClass, BreedProfile

sentence("weight_bands_apart", "Two bands of the weight table overlap. Each weight may stand in one band only.")
sentence("weight_band_of_its_class", "This age class belongs to another edition. Choose one of this edition's.")
sentence(
    "weight_band_within_points",
    "A band gives more points than the position for weight has. Correct the band or the position.",
)

# The edition is locked, so that two bands written at once see each other.
BANDS_APART = f"""
    PERFORM 1 FROM grading_breedprofile p WHERE p.id = NEW.profile_id FOR NO KEY UPDATE;
    IF EXISTS (
        SELECT 1 FROM grading_weightband b
        WHERE b.profile_id = NEW.profile_id AND b.id <> NEW.id AND b.sex = NEW.sex
        AND b.age_class_id IS NOT DISTINCT FROM NEW.age_class_id
        AND b.lowest_grams <= coalesce(NEW.highest_grams, b.lowest_grams)
        AND NEW.lowest_grams <= coalesce(b.highest_grams, NEW.lowest_grams)) THEN
        {REFUSE.format(name="weight_bands_apart")}
    END IF;
    IF NEW.age_class_id IS NOT NULL AND NOT EXISTS (
        SELECT 1 FROM grading_ageclass c WHERE c.id = NEW.age_class_id AND c.profile_id = NEW.profile_id) THEN
        {REFUSE.format(name="weight_band_of_its_class")}
    END IF;
    IF EXISTS (
        SELECT 1 FROM grading_position p
        WHERE p.profile_id = NEW.profile_id AND p.by_weight AND p.points < NEW.points) THEN
        {REFUSE.format(name="weight_band_within_points")}
    END IF;
    RETURN NEW;
"""


class WeightBand(models.Model):
    """The points of the position for weight from one weight to another, both included.

    Where an age class or a sex has bands of its own, only these count for it. A weight in no band is not judged.
    """

    profile = models.ForeignKey(BreedProfile, models.CASCADE, related_name="weight_bands")
    age_class = models.ForeignKey(
        AgeClass, models.CASCADE, null=True, blank=True, related_name="weight_bands", help_text="Empty: every age."
    )
    sex = models.CharField(max_length=7, choices=Sex, blank=True, help_text="Empty: both.")
    lowest_grams = models.PositiveIntegerField()
    highest_grams = models.PositiveIntegerField(null=True, blank=True, help_text="Empty: no limit.")
    points = models.DecimalField(max_digits=5, decimal_places=1)

    class Meta:
        ordering = [F("age_class__from_months").asc(nulls_first=True), "sex", "lowest_grams"]
        constraints = [
            models.CheckConstraint(
                condition=Q(highest_grams__isnull=True) | Q(lowest_grams__lte=F("highest_grams")),
                name="weight_band_in_order",
                violation_error_message="A band's lowest weight cannot be over its highest.",
            ),
            models.CheckConstraint(
                condition=Q(points__gte=0),
                name="weight_band_points_not_negative",
                violation_error_message="A band cannot give fewer than 0 points.",
            ),
            models.CheckConstraint(condition=Q(sex__in=[*Sex.values, ""]), name="weight_band_sex_known"),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="bands_apart",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.Update,
                func=BANDS_APART,
            ),
            kept_once_published(),
        ]

    def __str__(self):
        return f"{self.lowest_grams} to {self.highest_grams or 'any'} g: {self.points:g}"
