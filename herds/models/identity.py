import pgtrigger
from django.db import models
from django.db.models import Case, F, Q, Value, When
from django.db.models.functions import Lower, Replace, Upper
from django.utils import timezone

from clubsite.constraints import sentence

from .animal import Animal
from .herd import Herd


class MarkKind(models.TextChoices):
    LEFT_EAR = "left_ear", "left-ear tattoo"
    RIGHT_EAR = "right_ear", "right-ear tattoo"
    RING = "ring", "ring"
    REGISTRATION = "registration", "registration number"


class MarkQuerySet(models.QuerySet):
    def current(self):
        return self.filter(replaced_on__isnull=True)

    def as_read(self):
        """Current marks first, the left ear before the others, then the earlier ones."""
        kinds = [When(kind=kind, then=Value(place)) for place, kind in enumerate(MarkKind.values)]
        return self.order_by(F("replaced_on").desc(nulls_first=True), Case(*kinds), "pk")


MARK_DAYS_FUNCTION = """
    IF NEW.issued_on > current_date + 1 OR NEW.replaced_on > current_date + 1 THEN
        RAISE EXCEPTION 'future' USING ERRCODE = 'check_violation', CONSTRAINT = 'mark_by_today';
    END IF;
    IF NEW.issued_on IS NOT NULL AND EXISTS (
        SELECT 1 FROM herds_animal a WHERE a.id = NEW.animal_id AND a.born_on > NEW.issued_on) THEN
        RAISE EXCEPTION 'before birth' USING ERRCODE = 'check_violation', CONSTRAINT = 'mark_after_birth';
    END IF;
    RETURN NEW;
"""
sentence("mark_by_today", "The day of a mark cannot lie in the future. Choose today or an earlier day.", "issued_on")
sentence("mark_after_birth", "The animal was not yet born on the day of this mark. Check the day.", "issued_on")


class Mark(models.Model):
    """Any identification. A mark is never overwritten: the new one replaces the old, which stays readable."""

    animal = models.ForeignKey(Animal, models.CASCADE, related_name="marks")
    kind = models.CharField(max_length=12, choices=MarkKind, default=MarkKind.LEFT_EAR)
    text = models.CharField("mark", max_length=40)
    key = models.GeneratedField(
        expression=Upper(Replace(Replace(F("text"), Value(" "), Value("")), Value("-"), Value(""))),
        output_field=models.CharField(max_length=40),
        db_persist=True,
    )
    issued_by = models.ForeignKey(
        Herd, models.PROTECT, null=True, blank=True, related_name="marks_issued",
        help_text="The breeder's herd: a left-ear mark is unique only there.",
    )  # fmt: skip
    issuer_name = models.CharField(max_length=80, blank=True, help_text="When the issuer is outside the club.")
    issued_on = models.DateField(null=True, blank=True)
    replaced_on = models.DateField(null=True, blank=True)
    replaced_by = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="replaces")
    reason = models.CharField("why it was replaced", max_length=200, blank=True)
    logged_by = models.ForeignKey("members.Member", models.PROTECT, null=True, related_name="+", editable=False)
    logged_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = MarkQuerySet.as_manager()

    class Meta:
        ordering = ["-issued_on", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["issued_by", "key"],
                condition=Q(kind="left_ear", replaced_on__isnull=True, issued_by__isnull=False),
                name="mark_left_ear_once_in_herd",
                violation_error_message="Another animal of this breeder's herd has this left-ear mark. Check both ears.",
            ),
            models.UniqueConstraint(
                Lower("issuer_name"),
                "kind",
                "key",
                condition=Q(kind__in=["ring", "registration"], replaced_on__isnull=True),
                name="mark_number_once_per_issuer",
                violation_error_message="This number is already on another animal. Check the card.",
            ),
            models.UniqueConstraint(
                fields=["animal", "kind"],
                condition=Q(replaced_on__isnull=True),
                name="mark_one_current_of_a_kind",
                violation_error_message="This animal already has such a mark. Replace it instead.",
            ),
            models.CheckConstraint(condition=~Q(text=""), name="mark_has_text"),
            models.CheckConstraint(condition=Q(kind__in=MarkKind.values), name="mark_kind_known"),
            models.CheckConstraint(
                condition=Q(replaced_on__isnull=True) | ~Q(reason=""),
                name="mark_replaced_with_reason",
                violation_error_message="Say why the mark was replaced.",
            ),
            models.CheckConstraint(
                condition=Q(replaced_on__isnull=True) | Q(issued_on__isnull=True) | Q(replaced_on__gte=F("issued_on")),
                name="mark_replaced_after_issue",
                violation_error_message="A mark cannot be replaced before it was made. Check the day.",
            ),
            models.CheckConstraint(
                condition=Q(replaced_by__isnull=True) | (Q(replaced_on__isnull=False) & ~Q(replaced_by=F("id"))),
                name="mark_replaced_by_another",
            ),
        ]
        indexes = [models.Index(fields=["key"])]
        triggers = [
            pgtrigger.Trigger(
                name="mark_shown_on_animal",
                when=pgtrigger.After,
                operation=pgtrigger.Insert | pgtrigger.Update | pgtrigger.Delete,
                func="""
                    UPDATE herds_animal SET mark_text = coalesce((
                        SELECT m.text FROM herds_mark m
                        WHERE m.animal_id = herds_animal.id AND m.replaced_on IS NULL
                        ORDER BY CASE m.kind WHEN 'left_ear' THEN 0 WHEN 'ring' THEN 1
                                             WHEN 'right_ear' THEN 2 ELSE 3 END LIMIT 1), '')
                    WHERE id IN (CASE WHEN TG_OP = 'INSERT' THEN NEW.animal_id ELSE OLD.animal_id END,
                                 CASE WHEN TG_OP = 'DELETE' THEN OLD.animal_id ELSE NEW.animal_id END);
                    RETURN NULL;
                """,
            ),
            pgtrigger.Trigger(
                name="mark_days",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.Update,
                func=MARK_DAYS_FUNCTION,
            ),
        ]

    def __str__(self):
        return self.text


class Correction(models.Model):
    """A registrar's or keeper's change of identity: what, from what to what, and why."""

    animal = models.ForeignKey(Animal, models.CASCADE, related_name="corrections")
    field = models.CharField(max_length=30)
    old = models.CharField(max_length=200, blank=True)
    new = models.CharField(max_length=200, blank=True)
    reason = models.CharField(max_length=300)
    by = models.ForeignKey("members.Member", models.PROTECT, related_name="+")
    made_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-made_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(reason=""), name="correction_has_reason", violation_error_message="Say why."
            )
        ]

    def __str__(self):
        return f"{self.field}: {self.old} to {self.new}"


class TransferQuerySet(models.QuerySet):
    def open(self):
        return self.filter(settled_at__isnull=True)

    def visible_to(self, member):
        """Transfers from or to the member's herds; all of them for a registrar."""
        if getattr(member, "is_registrar", False):
            return self.all()
        herds = Herd.objects.kept_by(member)
        return self.filter(Q(from_herd__in=herds) | Q(to_herd__in=herds))


TRANSFER_FUNCTION = """
    IF NOT EXISTS (SELECT 1 FROM herds_animal a WHERE a.id = NEW.animal_id AND a.herd_id = NEW.from_herd_id) THEN
        RAISE EXCEPTION 'not there' USING ERRCODE = 'check_violation', CONSTRAINT = 'transfer_from_its_herd';
    END IF;
    RETURN NEW;
"""
sentence("transfer_from_its_herd", "The animal no longer stands in the herd that offers it. Open its page again.")


class Transfer(models.Model):
    """An animal goes from one herd to another; the receiver accepts, or the registrar settles it."""

    class Outcome(models.TextChoices):
        OPEN = "open", "waiting for the new owner"
        ACCEPTED = "accepted", "accepted"
        REFUSED = "refused", "refused"
        WITHDRAWN = "withdrawn", "withdrawn"

    animal = models.ForeignKey(Animal, models.CASCADE, related_name="transfers")
    from_herd = models.ForeignKey(Herd, models.PROTECT, related_name="transfers_out")
    to_herd = models.ForeignKey(Herd, models.PROTECT, related_name="transfers_in")
    on = models.DateField("day of transfer", default=timezone.localdate)
    note = models.CharField(max_length=200, blank=True)
    hand_over_notes = models.BooleanField("my notes go with the animal", default=False)
    notes_kept = models.TextField(
        blank=True, editable=False, help_text="The earlier owner's notes, which did not go with the animal."
    )
    withdrawal_until = models.DateField(
        null=True, blank=True, editable=False, help_text="Not for the table until then: said to the new owner."
    )
    no_show_until = models.DateField(
        null=True, blank=True, editable=False, help_text="Not for showing until then: said to the new owner."
    )
    health_notes: models.ManyToManyField = models.ManyToManyField(
        "herds.HealthNote", blank=True, related_name="+", help_text="The notes that the new owner may read."
    )
    outcome = models.CharField(max_length=10, choices=Outcome, default=Outcome.OPEN)
    offered_by = models.ForeignKey("members.Member", models.PROTECT, related_name="+")
    offered_at = models.DateTimeField(default=timezone.now)
    settled_by = models.ForeignKey("members.Member", models.PROTECT, null=True, blank=True, related_name="+")
    settled_at = models.DateTimeField(null=True, blank=True)

    objects = TransferQuerySet.as_manager()

    class Meta:
        ordering = ["-on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(from_herd=F("to_herd")),
                name="transfer_between_two_herds",
                violation_error_message="The animal is already in this herd. Choose another herd.",
            ),
            models.UniqueConstraint(
                fields=["animal"],
                condition=Q(outcome="open"),
                name="transfer_one_open_per_animal",
                violation_error_message="This animal already waits for a new owner's answer.",
            ),
            models.CheckConstraint(
                condition=Q(outcome="open", settled_at__isnull=True, settled_by__isnull=True)
                | (~Q(outcome="open") & Q(settled_at__isnull=False, settled_by__isnull=False)),
                name="transfer_settled_in_pair",
            ),
            models.CheckConstraint(
                condition=Q(outcome__in=["open", "accepted", "refused", "withdrawn"]), name="transfer_outcome_known"
            ),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="transfer_from_its_herd",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert,
                func=TRANSFER_FUNCTION,
            )
        ]

    def __str__(self):
        return f"{self.animal} to {self.to_herd}"
