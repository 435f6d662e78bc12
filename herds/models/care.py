import pgtrigger
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from clubsite.constraints import sentence

from .animal import Animal
from .breeding import Kit, Litter
from .herd import Grant, Herd

LARGEST_GRAMS = 15_000


class Verdict(models.TextChoices):
    KEEP = "keep", "keep"
    GROW_ON = "grow_on", "grow on"
    LET_GO = "let_go", "let go"
    UNDECIDED = "open", "not decided"


class CareQuerySet(models.QuerySet):
    """Rows about one animal that belong to the herd that wrote them: a new owner does not inherit them."""

    def editable_by(self, member):
        return self.filter(animal__herd__in=Herd.objects.kept_by(member), herd=F("animal__herd"))

    visible_to = editable_by


# A row written without its herd belongs to the herd where the animal stands.
HERD_OF_CARE = """
    IF NEW.herd_id IS NULL THEN
        SELECT a.herd_id INTO NEW.herd_id FROM herds_animal a WHERE a.id = NEW.animal_id;
    END IF;
"""
DECISION_FUNCTION = (
    HERD_OF_CARE
    + """
    IF NEW.decided_on > current_date + 1 THEN
        RAISE EXCEPTION 'future' USING ERRCODE = 'check_violation', CONSTRAINT = 'decision_by_today';
    END IF;
    RETURN NEW;
"""
)
QUARANTINE_FUNCTION = (
    HERD_OF_CARE
    + """
    IF NEW.started_on > current_date + 1 OR NEW.ended_on > current_date + 1 THEN
        RAISE EXCEPTION 'future' USING ERRCODE = 'check_violation', CONSTRAINT = 'quarantine_by_today';
    END IF;
    RETURN NEW;
"""
)
sentence("decision_by_today", "The day of the decision lies in the future. Choose today or earlier.", "decided_on")
sentence("quarantine_by_today", "This day lies in the future. Choose today or an earlier day.")


class Decision(models.Model):
    """Keep, grow on or let go, with the reason. The last one counts; the earlier ones stay."""

    animal = models.ForeignKey(Animal, models.CASCADE, related_name="decisions")
    verdict = models.CharField(max_length=8, choices=Verdict)
    reason = models.CharField(max_length=300, blank=True)
    decided_on = models.DateField(default=timezone.localdate)
    herd = models.ForeignKey(Herd, models.PROTECT, null=True, related_name="+", editable=False)
    batch = models.UUIDField(
        null=True, db_index=True, editable=False, help_text="The same for what was decided at once."
    )
    by = models.ForeignKey("members.Member", models.PROTECT, related_name="+")
    made_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = CareQuerySet.as_manager()

    class Meta:
        ordering = ["-decided_on", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(verdict__in=Verdict.values), name="decision_known_word"),
        ]
        indexes = [models.Index(fields=["animal", "-decided_on", "-id"])]
        triggers = [
            pgtrigger.Trigger(
                name="decision_kept_by_herd",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.Update,
                func=DECISION_FUNCTION,
            )
        ]

    def __str__(self):
        return self.get_verdict_display()


class WeightQuerySet(models.QuerySet):
    def visible_to(self, member):
        """Weights of the member's herds, of herds that share them, and of grants that include the log."""
        if not (member.is_authenticated and member.is_active):
            return self.none()
        kept = Herd.objects.kept_by(member)
        granted = Grant.objects.running().filter(mentor=member.pk, with_log=True).values("herd")
        return self.filter(Q(herd__in=kept) | Q(herd__shares_weights=True) | Q(herd__in=granted))

    def editable_by(self, member):
        return self.filter(herd__in=Herd.objects.kept_by(member))


WEIGHT_FUNCTION = """
    IF NEW."on" > current_date + 1 THEN
        RAISE EXCEPTION 'future' USING ERRCODE = 'check_violation', CONSTRAINT = 'weight_by_today';
    END IF;
    IF EXISTS (SELECT 1 FROM herds_animal a WHERE a.id = NEW.animal_id AND a.born_on > NEW."on")
       OR EXISTS (SELECT 1 FROM herds_litter l WHERE l.id = NEW.litter_id AND l.born_on > NEW."on")
       OR EXISTS (SELECT 1 FROM herds_kit k JOIN herds_litter l ON l.id = k.litter_id
                  WHERE k.id = NEW.kit_id AND l.born_on > NEW."on") THEN
        RAISE EXCEPTION 'before birth' USING ERRCODE = 'check_violation', CONSTRAINT = 'weight_after_birth';
    END IF;
    RETURN NEW;
"""
sentence("weight_by_today", "This day lies in the future. Choose today or an earlier day.", "on")
sentence("weight_after_birth", "Nothing was born to weigh on this day. Choose a later day.", "on")


class Weight(models.Model):
    """One weighing, in grams, of an animal, a kit or a whole litter; `herd` is where it stood that day."""

    herd = models.ForeignKey(Herd, models.PROTECT, related_name="weights")
    animal = models.ForeignKey(Animal, models.CASCADE, null=True, blank=True, related_name="weights")
    kit = models.ForeignKey(Kit, models.CASCADE, null=True, blank=True, related_name="weights")
    litter = models.ForeignKey(Litter, models.CASCADE, null=True, blank=True, related_name="weights")
    count = models.PositiveSmallIntegerField("kits on the scale", null=True, blank=True)
    on = models.DateField(default=timezone.localdate)
    grams = models.PositiveIntegerField()
    note = models.CharField(max_length=200, blank=True)
    logged_by = models.ForeignKey("members.Member", models.PROTECT, null=True, related_name="+", editable=False)
    logged_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = WeightQuerySet.as_manager()

    class Meta:
        ordering = ["-on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(animal__isnull=False, kit__isnull=True, litter__isnull=True)
                | Q(animal__isnull=True, kit__isnull=False, litter__isnull=True)
                | Q(animal__isnull=True, kit__isnull=True, litter__isnull=False),
                name="weight_of_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(grams__gte=10)
                & (Q(grams__lte=LARGEST_GRAMS) | (Q(litter__isnull=False) & Q(grams__lte=60_000))),
                name="weight_possible",
                violation_error_message="This weight is not possible for a rabbit. Check the number and the unit.",
            ),
            models.UniqueConstraint(
                fields=["animal", "on"], condition=Q(animal__isnull=False), name="weight_once_a_day_animal",
                violation_error_message="This animal was already weighed on that day.",
            ),
            models.UniqueConstraint(
                fields=["kit", "on"], condition=Q(kit__isnull=False), name="weight_once_a_day_kit",
                violation_error_message="This kit was already weighed on that day.",
            ),
            models.UniqueConstraint(
                fields=["litter", "on"], condition=Q(litter__isnull=False), name="weight_once_a_day_litter",
                violation_error_message="This litter was already weighed on that day.",
            ),
        ]  # fmt: skip
        triggers = [
            pgtrigger.Trigger(
                name="weight_days",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.UpdateOf("animal_id", "kit_id", "litter_id", "on"),
                func=WEIGHT_FUNCTION,
            )
        ]

    def __str__(self):
        return f"{self.grams} g on {self.on}"


class Quarantine(models.Model):
    """A newcomer or a show returner is kept apart for a while."""

    animal = models.ForeignKey(Animal, models.CASCADE, related_name="quarantines")
    started_on = models.DateField(default=timezone.localdate)
    planned_until = models.DateField()
    ended_on = models.DateField(null=True, blank=True)
    reason = models.CharField(max_length=200, blank=True)
    herd = models.ForeignKey(Herd, models.PROTECT, null=True, related_name="+", editable=False)
    logged_by = models.ForeignKey("members.Member", models.PROTECT, null=True, related_name="+", editable=False)

    objects = CareQuerySet.as_manager()

    class Meta:
        ordering = ["-started_on"]
        constraints = [
            models.CheckConstraint(
                condition=Q(planned_until__gte=F("started_on"))
                & (Q(ended_on__isnull=True) | Q(ended_on__gte=F("started_on"))),
                name="quarantine_ends_after_start",
                violation_error_message="The quarantine ends before it starts. Choose a later day.",
            ),
            models.UniqueConstraint(
                fields=["animal"], condition=Q(ended_on__isnull=True), name="quarantine_one_open",
                violation_error_message="This animal is already in quarantine.",
            ),
        ]  # fmt: skip
        triggers = [
            pgtrigger.Trigger(
                name="quarantine_kept_by_herd",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.Update,
                func=QUARANTINE_FUNCTION,
            )
        ]

    def __str__(self):
        return f"{self.animal} until {self.planned_until}"


class Dismissal(models.Model):
    """A line of today's list that its owner put aside, by the line's key; it can be taken back."""

    herd = models.ForeignKey(Herd, models.CASCADE, related_name="dismissals")
    key = models.CharField(max_length=60)
    by = models.ForeignKey("members.Member", models.PROTECT, related_name="+")
    made_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["herd", "key"], name="dismissal_once")]

    def __str__(self):
        return self.key
