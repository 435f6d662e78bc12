"""The yearly calibration: one set of photos, graded by all in one order, and what it tells of each grader."""

import pgtrigger
from django.db import models
from django.db.models import Exists, F, OuterRef, Q
from django.utils import timezone

from clubsite.constraints import sentence
from herds.models import Breed

from .consent import PhotoConsent, may_be_shown
from .photo import Photo
from .profile import Trait

MEMBER = "members.Member"


class SetState(models.TextChoices):
    DRAFT = "draft", "being put together"
    OPEN = "open", "open for grading"
    CLOSED = "closed", "closed, being worked out"
    DONE = "done", "worked out"


sentence("calibration_window_is_over", "The time for this set is over. What you gave until then counts.")
sentence("calibration_step_on_scale", "This step is not on the trait's scale. Choose one of the steps shown.", "step")
sentence("calibration_trait_of_set", "This set does not ask for that trait. Open the page again.")
sentence(
    "calibration_set_kept_once_open",
    "The set is open already, so its photos stay as they are: all graders must see the same.",
)

ANSWER_ALLOWED = """
    DECLARE of_set grading_calibrationset;
    BEGIN
    SELECT s.* INTO of_set FROM grading_calibrationset s
        JOIN grading_seat seat ON seat.of_id = s.id WHERE seat.id = NEW.seat_id;
    IF of_set.state <> 'open' THEN
        RAISE EXCEPTION 'not open' USING ERRCODE = 'check_violation', CONSTRAINT = 'calibration_window_is_over';
    END IF;
    IF NOT EXISTS (SELECT 1 FROM grading_calibrationset_traits t
                   WHERE t.calibrationset_id = of_set.id AND t.trait_id = NEW.trait_id)
       OR NOT EXISTS (SELECT 1 FROM grading_calibrationitem i WHERE i.id = NEW.item_id AND i.of_id = of_set.id) THEN
        RAISE EXCEPTION 'other set' USING ERRCODE = 'check_violation', CONSTRAINT = 'calibration_trait_of_set';
    END IF;
    IF EXISTS (SELECT 1 FROM grading_trait t WHERE t.id = NEW.trait_id
               AND NEW.step IS NOT NULL AND (NEW.step < t.scale_low OR NEW.step > t.scale_high)) THEN
        RAISE EXCEPTION 'off the scale' USING ERRCODE = 'check_violation', CONSTRAINT = 'calibration_step_on_scale';
    END IF;
    RETURN NEW;
    END;
"""

ITEM_KEPT = """
    IF EXISTS (SELECT 1 FROM grading_calibrationset s
               WHERE s.id IN ({sets}) AND s.state <> 'draft') THEN
        RAISE EXCEPTION 'open' USING ERRCODE = 'check_violation', CONSTRAINT = 'calibration_set_kept_once_open';
    END IF;
    RETURN {row};
"""


class CalibrationSetQuerySet(models.QuerySet):
    def visible_to(self, member):
        """Officers see every set; members those that are open or over."""
        if not (member.is_authenticated and member.is_active):
            return self.none()
        return self.all() if member.is_officer else self.exclude(state=SetState.DRAFT)

    def editable_by(self, member):
        return self.all() if getattr(member, "is_officer", False) and member.is_active else self.none()

    def gradable_by(self, member, on=None):
        """Sets whose window is open for the member: adults and youths alike, since all grade."""
        day = on or timezone.localdate()
        return self.visible_to(member).filter(state=SetState.OPEN, opens_on__lte=day, closes_on__gte=day)


class CalibrationSet(models.Model):
    """Photos of animals whose owners agreed, in a fixed order, some shown twice; graded within a window."""

    breed = models.ForeignKey(Breed, models.PROTECT, related_name="calibration_sets")
    name = models.CharField(max_length=80)
    state = models.CharField(max_length=6, choices=SetState, default=SetState.DRAFT)
    opens_on = models.DateField(default=timezone.localdate)
    closes_on = models.DateField()
    traits = models.ManyToManyField(Trait, related_name="+")
    made_by = models.ForeignKey(MEMBER, models.PROTECT, null=True, related_name="+")
    made_at = models.DateTimeField(default=timezone.now)
    worked_out_at = models.DateTimeField(null=True, blank=True)
    together = models.JSONField(default=dict, help_text="Agreement between graders, by trait.")
    problem = models.CharField(max_length=300, blank=True, help_text="Why nothing could be worked out, in a sentence.")

    objects = CalibrationSetQuerySet.as_manager()

    class Meta:
        ordering = ["-opens_on", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(state__in=SetState.values), name="calibration_state_known"),
            models.CheckConstraint(
                condition=Q(closes_on__gte=F("opens_on")),
                name="calibration_closes_after_opening",
                violation_error_message="The set closes before it opens. Choose a later last day.",
            ),
            models.UniqueConstraint(
                fields=["breed"],
                condition=Q(state=SetState.OPEN),
                name="calibration_one_open",
                violation_error_message="Another set of this breed is open. Close it first.",
            ),
            models.CheckConstraint(
                condition=~Q(state=SetState.DONE) | Q(worked_out_at__isnull=False), name="calibration_done_has_a_day"
            ),
        ]

    def __str__(self):
        return self.name

    def get_absolute_url(self):
        from django.urls import reverse

        return reverse("calibration-detail", args=[self.pk])


class CalibrationItemQuerySet(models.QuerySet):
    def standing(self):
        """Items all of whose photos may still be shown."""
        shown = may_be_shown(PhotoConsent.Use.CALIBRATION)
        gone = Photo.objects.filter(calibration_items=OuterRef("pk")).exclude(shown)
        return self.exclude(Exists(gone))


class CalibrationItem(models.Model):
    """One place of a set: the photos of one animal of one day, graded together. A double names what it repeats."""

    of = models.ForeignKey(CalibrationSet, models.CASCADE, related_name="items")
    position = models.PositiveSmallIntegerField()
    photos = models.ManyToManyField(Photo, related_name="calibration_items")
    again_of = models.ForeignKey("self", models.CASCADE, null=True, blank=True, related_name="doubles")

    objects = CalibrationItemQuerySet.as_manager()

    class Meta:
        ordering = ["of", "position"]
        constraints = [
            models.UniqueConstraint(
                fields=["of", "position"], name="calibration_position_once", deferrable=models.Deferrable.DEFERRED
            ),
            models.UniqueConstraint(
                fields=["again_of"], condition=Q(again_of__isnull=False), name="calibration_doubled_once"
            ),
            models.CheckConstraint(condition=~Q(again_of=F("id")), name="calibration_item_not_own_double"),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="item_added",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.Update,
                func=ITEM_KEPT.format(sets="NEW.of_id", row="NEW"),
            ),
            pgtrigger.Trigger(
                name="item_removed",
                when=pgtrigger.Before,
                operation=pgtrigger.Delete,
                func=ITEM_KEPT.format(sets="OLD.of_id", row="OLD"),
            ),
        ]

    def __str__(self):
        return f"{self.position} of {self.of}"


class Seat(models.Model):
    """A member's part in a set: from the first photo to the last."""

    of = models.ForeignKey(CalibrationSet, models.CASCADE, related_name="seats")
    member = models.ForeignKey(MEMBER, models.PROTECT, related_name="calibration_seats")
    began_at = models.DateTimeField(default=timezone.now)
    finished_at = models.DateTimeField(null=True, blank=True)
    shows_name = models.BooleanField("officers may read my result with my name", default=False)
    counts = models.BooleanField(default=False, help_text="Enough was answered for the result to be current.")

    class Meta:
        ordering = ["of", "began_at", "pk"]
        constraints = [models.UniqueConstraint(fields=["of", "member"], name="seat_once")]

    def __str__(self):
        return f"{self.member} in {self.of}"


class CalibrationAnswer(models.Model):
    """A grader's step for one trait of one item; 'cannot tell' is an answer and never a number."""

    seat = models.ForeignKey(Seat, models.CASCADE, related_name="answers")
    item = models.ForeignKey(CalibrationItem, models.CASCADE, related_name="answers")
    trait = models.ForeignKey(Trait, models.PROTECT, related_name="+")
    step = models.PositiveSmallIntegerField(null=True, blank=True)
    cannot_tell = models.BooleanField(default=False)
    saved_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["seat", "item", "trait"], name="calibration_answer_once"),
            models.CheckConstraint(
                condition=Q(step__isnull=True, cannot_tell=True) | Q(step__isnull=False, cannot_tell=False),
                name="calibration_step_or_cannot_tell",
                violation_error_message="Choose a step or 'cannot tell', not both.",
            ),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="calibration_answer_allowed",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.Update,
                func=ANSWER_ALLOWED,
            ),
        ]

    def __str__(self):
        return f"{self.trait} {'cannot tell' if self.cannot_tell else self.step}"


class ItemTruth(models.Model):
    """The consensus of all graders on one item and trait, in steps, with its standard error.

    scored : graders may be measured by it. discuss : the best graders differ by two steps or more, so it is talked
    about and not scored.
    """

    item = models.ForeignKey(CalibrationItem, models.CASCADE, related_name="truths")
    trait = models.ForeignKey(Trait, models.PROTECT, related_name="+")
    value = models.FloatField()
    error = models.FloatField(null=True)
    answers = models.PositiveSmallIntegerField()
    scored = models.BooleanField(default=False)
    discuss = models.BooleanField(default=False)

    class Meta:
        ordering = ["item", "trait__section", "trait__position"]
        constraints = [
            models.UniqueConstraint(fields=["item", "trait"], name="item_truth_once"),
            models.CheckConstraint(condition=~Q(scored=True, discuss=True), name="item_truth_scored_or_discussed"),
        ]

    def __str__(self):
        return f"{self.trait} of {self.item}: {self.value:.1f}"


class GraderResult(models.Model):
    """What a set tells of one grader and trait. `profile` holds every figure with its interval, count and note."""

    seat = models.ForeignKey(Seat, models.CASCADE, related_name="results")
    trait = models.ForeignKey(Trait, models.PROTECT, related_name="+")
    lean = models.FloatField(null=True, help_text="Steps above the consensus.")
    lean_low = models.FloatField(null=True)
    lean_high = models.FloatField(null=True)
    spread = models.FloatField(null=True, help_text="Their use of the scale over that of the others; 1 is the same.")
    spread_low = models.FloatField(null=True)
    spread_high = models.FloatField(null=True)
    agreement = models.FloatField(null=True, help_text="Quadratic weighted kappa with the others' consensus.")
    profile = models.JSONField(default=dict)

    class Meta:
        ordering = ["seat", "trait__section", "trait__position"]
        constraints = [models.UniqueConstraint(fields=["seat", "trait"], name="grader_result_once")]

    def __str__(self):
        return f"{self.seat}, {self.trait}"
