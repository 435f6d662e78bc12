"""Learning to see: what a member guessed about photos on which the club's graders agree."""

import pgtrigger
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from clubsite.constraints import sentence

from .calibration import ItemTruth

sentence("guess_on_scale", "This step is not on the trait's scale. Choose one of the steps shown.", "step")

ON_SCALE = """
    IF NEW.step IS NOT NULL AND EXISTS (
        SELECT 1 FROM grading_trait t
        WHERE t.id = NEW.trait_id AND (NEW.step < t.scale_low OR NEW.step > t.scale_high)) THEN
        RAISE EXCEPTION 'off the scale' USING ERRCODE = 'check_violation', CONSTRAINT = 'guess_on_scale';
    END IF;
    RETURN NEW;
"""


class GuessQuerySet(models.QuerySet):
    def visible_to(self, member):
        """One's own: nobody else reads how somebody learns."""
        return self.filter(member=member.pk) if member.is_authenticated and member.is_active else self.none()


class Guess(models.Model):
    """A member's step for a trait of a calibrated photo, and the consensus of that day.

    `truth` is gone when the set was worked out anew or its photo taken back; the guess stays as practice.
    """

    member = models.ForeignKey("members.Member", models.CASCADE, related_name="guesses")
    truth = models.ForeignKey(ItemTruth, models.SET_NULL, null=True, related_name="guesses")
    trait = models.ForeignKey("grading.Trait", models.PROTECT, related_name="+")
    step = models.PositiveSmallIntegerField(null=True, blank=True, help_text="Empty: could not tell.")
    agreed = models.FloatField(help_text="The consensus, in steps.")
    at = models.DateTimeField(default=timezone.now)
    away = models.GeneratedField(
        expression=F("step") - F("agreed"), output_field=models.FloatField(null=True), db_persist=True
    )

    objects = GuessQuerySet.as_manager()

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(step__isnull=True) | Q(step__lte=10), name="guess_step_possible"),
        ]
        indexes = [models.Index(fields=["member", "-at"])]
        triggers = [
            pgtrigger.Trigger(
                name="guess_on_scale",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.Update,
                func=ON_SCALE,
            ),
        ]

    def __str__(self):
        return f"{self.trait} {'cannot tell' if self.step is None else self.step}"
