import pgtrigger
from django.db import models
from django.db.models import Case, Exists, F, OuterRef, Q, Value, When
from django.utils import timezone

from clubsite.constraints import sentence
from herds.models import Animal, AnimalGrant, Grant, Herd, Ownership

from .profile import AgeClass, BreedProfile, FindingKind, Trait


class Mode(models.TextChoices):
    IN_HAND = "in_hand", "in hand"
    PHOTO = "photo", "from photos"


class Role(models.TextChoices):
    """In which part the observer looked."""

    KEEPER = "keeper", "keeper"
    MENTOR = "mentor", "mentor"
    JUDGE = "judge", "judge at a show"


class CoatStage(models.TextChoices):
    NEST = "nest", "nest coat"
    JUVENILE_MOLT = "juvenile_molt", "juvenile molt"
    INTERMEDIATE = "intermediate", "intermediate coat"
    ADULT_MOLT = "adult_molt", "adult molt"
    PRIME = "prime", "prime"
    PAST_PRIME = "past_prime", "past prime"


class Light(models.TextChoices):
    OPEN_SHADE = "open_shade", "daylight, open shade"
    OVERCAST = "overcast", "daylight, overcast"
    SUN = "sun", "direct sun"
    LAMP = "lamp", "lamp light"
    MIXED = "mixed", "daylight and lamp"


class LookQuerySet(models.QuerySet):
    """Looks follow the herd in which the animal stands now."""

    def visible_to(self, member):
        """Looks of the member's herds, of herds that share looks, and of running grants."""
        if not (member.is_authenticated and member.is_active):
            return self.none()
        granted = Grant.objects.running().filter(mentor=member.pk).values("herd")
        singly = AnimalGrant.objects.running().filter(mentor=member.pk)
        return self.filter(
            Q(animal__herd__in=Herd.objects.kept_by(member))
            | Q(animal__herd__in=granted)
            | Q(animal__in=singly.filter(with_looks=True).values("animal"))
            | Q(observer=member.pk, animal__in=singly.values("animal"))
            | (Q(animal__herd__shares_looks=True) & Q(finished_at__isnull=False))
        )

    def editable_by(self, member):
        """Looks the member made, may still grade, and whose day is not over."""
        return self.filter(
            observer=member.pk,
            editable_until__gt=timezone.now(),
            animal__in=Animal.objects.gradable_by(member),
        )

    def by_keepers(self):
        """Looks of those who keep the herd in which the animal stands, and looks that somebody made as its keeper."""
        keeps = Ownership.objects.filter(herd=OuterRef("animal__herd"), member=OuterRef("observer"))
        return self.filter(Q(role=Role.KEEPER) | Exists(keeps))

    def finished(self):
        return self.filter(finished_at__isnull=False)

    def current(self):
        """Finished looks that no later look supersedes."""
        return self.filter(current=True)


sentence(
    "look_day_is_over",
    "The day of this look is over, so it stays as it is. Make a new look that supersedes it.",
)
sentence("grading_look_supersedes_id_key", "A later look already supersedes this one. Supersede that one instead.")
sentence("answer_on_scale", "This step is not on the trait's scale. Choose one of the steps shown.", "step")
sentence("answer_in_hand_only", "A photo cannot show this. Grade it with the animal in hand.", "step")
sentence("answer_site_known", "This trait is not graded at that place.", "site")


KEPT_AFTER_ITS_DAY = (
    "observer_id", "profile_id", "observed_on", "mode", "role", "trained", "light", "coat_stage", "silvering_complete",
    "grams", "note", "disqualified", "surface", "undercolor", "reach", "supersedes_id", "reason",
)  # fmt: skip

LOOK_KEPT = f"""
    IF OLD.editable_until <= now()
       AND ROW({", ".join(f"NEW.{column}" for column in KEPT_AFTER_ITS_DAY)})
           IS DISTINCT FROM ROW({", ".join(f"OLD.{column}" for column in KEPT_AFTER_ITS_DAY)}) THEN
        RAISE EXCEPTION 'day is over' USING ERRCODE = 'check_violation', CONSTRAINT = 'look_day_is_over';
    END IF;
    RETURN NEW;
"""


class Look(models.Model):
    """One graded observation of one animal by one observer on one day. Added, never edited after its day."""

    animal = models.ForeignKey(Animal, models.PROTECT, related_name="looks")
    observer = models.ForeignKey("members.Member", models.PROTECT, related_name="looks")
    herd = models.ForeignKey(
        Herd, models.PROTECT, null=True, related_name="looks", help_text="Where the animal stood that day."
    )
    profile = models.ForeignKey(BreedProfile, models.PROTECT, related_name="looks")
    observed_on = models.DateField(default=timezone.localdate)
    mode = models.CharField(max_length=7, choices=Mode, default=Mode.IN_HAND)
    role = models.CharField(max_length=6, choices=Role, default=Role.KEEPER)
    trained = models.BooleanField(default=False, help_text="The observer's calibration result was current.")
    light = models.CharField(
        max_length=10, choices=Light, blank=True, help_text="Empty only of photos that do not tell it."
    )
    age_days = models.PositiveIntegerField(null=True, blank=True)
    age_class = models.ForeignKey(AgeClass, models.PROTECT, null=True, blank=True, related_name="+")
    coat_stage = models.CharField(max_length=14, choices=CoatStage, blank=True)
    silvering_complete = models.BooleanField(null=True, blank=True)
    provisional = models.GeneratedField(
        expression=Case(
            When(silvering_complete=True, coat_stage=CoatStage.PRIME, then=Value(False)), default=Value(True)
        ),
        output_field=models.BooleanField(),
        db_persist=True,
    )
    grams = models.PositiveIntegerField(null=True, blank=True)
    note = models.TextField(blank=True)
    disqualified = models.BooleanField(default=False, help_text="A finding disqualifies in the profile.")

    # Kept in step by a trigger on the answers: means over the places parted.
    surface = models.FloatField(null=True, blank=True, editable=False)
    undercolor = models.FloatField(null=True, blank=True, editable=False)
    reach = models.FloatField(null=True, blank=True, editable=False)

    client_key = models.UUIDField(null=True, blank=True, unique=True)
    started_at = models.DateTimeField(default=timezone.now)
    editable_until = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)
    current = models.BooleanField(default=False)
    supersedes = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="superseded_by")
    reason = models.CharField("why it supersedes", max_length=300, blank=True)

    objects = LookQuerySet.as_manager()

    class Meta:
        ordering = ["-observed_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(supersedes__isnull=True, reason="") | (Q(supersedes__isnull=False) & ~Q(reason="")),
                name="look_supersedes_with_reason",
                violation_error_message="Say why this look supersedes the earlier one.",
            ),
            models.CheckConstraint(
                condition=Q(supersedes__isnull=True) | ~Q(supersedes=F("id")), name="look_not_own_successor"
            ),
            models.UniqueConstraint(
                fields=["animal", "observer", "mode"],
                condition=Q(finished_at__isnull=True),
                name="look_one_open",
                violation_error_message="You have an unfinished look of this animal. Finish it first.",
            ),
            models.CheckConstraint(condition=Q(mode__in=Mode.values), name="look_mode_known"),
            models.CheckConstraint(condition=Q(coat_stage__in=[*CoatStage.values, ""]), name="look_coat_stage_known"),
            models.CheckConstraint(
                condition=Q(light__in=Light.values) | Q(light="", mode=Mode.PHOTO),
                name="look_light_known",
                violation_error_message="Say in which light you looked.",
            ),
            models.CheckConstraint(
                condition=Q(current=False) | Q(finished_at__isnull=False), name="look_current_is_finished"
            ),
        ]
        indexes = [
            models.Index(fields=["animal", "-observed_on", "-id"]),
            models.Index(fields=["observer", "observed_on"]),
            models.Index(
                fields=["animal"],
                include=["surface", "undercolor", "reach", "observed_on"],
                condition=Q(current=True),
                name="look_current_summary",
            ),
        ]
        triggers = [
            pgtrigger.Trigger(name="look_kept", when=pgtrigger.Before, operation=pgtrigger.Update, func=LOOK_KEPT),
        ]

    def __str__(self):
        return f"look of {self.animal}, {self.observed_on:%d %b %Y}"

    def get_absolute_url(self):
        from django.urls import reverse

        return reverse("look-detail", args=[self.pk])

    @property
    def is_open(self):
        return self.finished_at is None


DAY_IS_OVER = """
    IF EXISTS (SELECT 1 FROM grading_look l WHERE l.id = {row}.look_id AND l.editable_until <= now()) THEN
        RAISE EXCEPTION 'day is over' USING ERRCODE = 'check_violation', CONSTRAINT = 'look_day_is_over';
    END IF;
"""

ANSWER_ALLOWED = (
    DAY_IS_OVER.format(row="NEW")
    + """
    IF EXISTS (SELECT 1 FROM grading_trait t WHERE t.id = NEW.trait_id
               AND NEW.step IS NOT NULL AND (NEW.step < t.scale_low OR NEW.step > t.scale_high)) THEN
        RAISE EXCEPTION 'off the scale' USING ERRCODE = 'check_violation', CONSTRAINT = 'answer_on_scale';
    END IF;
    IF EXISTS (SELECT 1 FROM grading_trait t WHERE t.id = NEW.trait_id
               AND ((NEW.site = '' AND cardinality(t.sites) > 0)
                    OR (NEW.site <> '' AND NOT NEW.site = ANY (t.sites)))) THEN
        RAISE EXCEPTION 'no such place' USING ERRCODE = 'check_violation', CONSTRAINT = 'answer_site_known';
    END IF;
    IF EXISTS (SELECT 1 FROM grading_trait t, grading_look l WHERE t.id = NEW.trait_id AND l.id = NEW.look_id
               AND l.mode = 'photo' AND NOT t.photo_can_show) THEN
        RAISE EXCEPTION 'in hand only' USING ERRCODE = 'check_violation', CONSTRAINT = 'answer_in_hand_only';
    END IF;
    RETURN NEW;
"""
)

ANSWER_SUMMED = """
    DECLARE what text; which bigint; mean float8;
    BEGIN
    which := CASE WHEN TG_OP = 'DELETE' THEN OLD.look_id ELSE NEW.look_id END;
    SELECT summary INTO what FROM grading_trait
        WHERE id = CASE WHEN TG_OP = 'DELETE' THEN OLD.trait_id ELSE NEW.trait_id END;
    IF what <> '' THEN
        SELECT avg(a.step) INTO mean FROM grading_answer a JOIN grading_trait t ON t.id = a.trait_id
            WHERE a.look_id = which AND t.summary = what;
        IF what = 'surface' THEN UPDATE grading_look SET surface = mean WHERE id = which;
        ELSIF what = 'undercolor' THEN UPDATE grading_look SET undercolor = mean WHERE id = which;
        ELSE UPDATE grading_look SET reach = mean WHERE id = which;
        END IF;
    END IF;
    RETURN NULL;
    END;
"""


class Answer(models.Model):
    """The step given to one trait (at one place) in a look; 'cannot tell' is an answer and never a number."""

    look = models.ForeignKey(Look, models.CASCADE, related_name="answers")
    trait = models.ForeignKey(Trait, models.PROTECT, related_name="answers")
    site = models.CharField(max_length=10, blank=True, default="")
    step = models.PositiveSmallIntegerField(null=True, blank=True)
    cannot_tell = models.BooleanField(default=False)
    saved_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["trait__section", "trait__position", "site"]
        constraints = [
            models.UniqueConstraint(fields=["look", "trait", "site"], name="answer_once"),
            models.CheckConstraint(
                condition=Q(step__isnull=True, cannot_tell=True) | Q(step__isnull=False, cannot_tell=False),
                name="answer_step_or_cannot_tell",
                violation_error_message="Choose a step or 'cannot tell', not both.",
            ),
            models.CheckConstraint(
                condition=Q(step__isnull=True) | Q(step__lte=10),
                name="answer_step_possible",
                violation_error_message="This step is not on the trait's scale. Choose one of the steps shown.",
            ),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="answer_allowed",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.Update,
                func=ANSWER_ALLOWED,
            ),
            pgtrigger.Trigger(
                name="answer_kept",
                when=pgtrigger.Before,
                operation=pgtrigger.Delete,
                func=DAY_IS_OVER.format(row="OLD") + " RETURN OLD;",
            ),
            pgtrigger.Trigger(
                name="answer_summed",
                when=pgtrigger.After,
                operation=pgtrigger.Insert | pgtrigger.Update | pgtrigger.Delete,
                func=ANSWER_SUMMED,
            ),
        ]

    def __str__(self):
        return f"{self.trait} {'cannot tell' if self.cannot_tell else self.step}"


class LookFinding(models.Model):
    """Something seen, not seen or not checked in a look, with its place."""

    class State(models.TextChoices):
        SEEN = "seen", "seen"
        NOT_SEEN = "not_seen", "not seen"
        NOT_CHECKED = "not_checked", "not checked"

    look = models.ForeignKey(Look, models.CASCADE, related_name="findings")
    kind = models.ForeignKey(FindingKind, models.PROTECT, related_name="+")
    state = models.CharField(max_length=12, choices=State, default=State.NOT_CHECKED)
    place = models.CharField(max_length=60, blank=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["kind__section", "kind__position"]
        constraints = [
            models.UniqueConstraint(fields=["look", "kind"], name="look_finding_once"),
            models.CheckConstraint(condition=Q(place="") | Q(state="seen"), name="look_finding_place_when_seen"),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="finding_allowed",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.Update,
                func=DAY_IS_OVER.format(row="NEW") + " RETURN NEW;",
            ),
            pgtrigger.Trigger(
                name="finding_kept",
                when=pgtrigger.Before,
                operation=pgtrigger.Delete,
                func=DAY_IS_OVER.format(row="OLD") + " RETURN OLD;",
            ),
        ]

    def __str__(self):
        return f"{self.kind} {self.get_state_display()}"
