import pgtrigger
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from clubsite.constraints import sentence

from .animal import PRESENT, Animal
from .breeding import Litter
from .herd import Grant, Herd


class HealthNoteQuerySet(models.QuerySet):
    """Health is the keepers' own: a note belongs to the herd that wrote it, and a new owner does not inherit it."""

    def editable_by(self, member):
        return self.filter(herd__in=Herd.objects.kept_by(member))

    def visible_to(self, member):
        """Notes of the member's herds, and of herds whose running grant opens the health notes too."""
        if not (member.is_authenticated and member.is_active):
            return self.none()
        granted = Grant.objects.running().filter(mentor=member.pk, with_health=True).values("herd")
        return self.filter(Q(herd__in=Herd.objects.kept_by(member)) | Q(herd__in=granted))

    def standing(self):
        """Notes that count: neither corrected by a later one nor struck out."""
        return self.filter(corrected_by__isnull=True, struck_out=False)

    def of_stock_here(self):
        """Notes whose animal, or whose litter, still stands in the herd that wrote them."""
        here = Q(animal__herd=F("herd"), animal__status__in=PRESENT)
        return self.filter(here | Q(litter__herd=F("herd")))

    def withdrawing(self, on):
        """Notes whose withdrawal period, for the table or for showing, still runs on a day (its last day included)."""
        return self.standing().filter(Q(withdrawal_until__gte=on) | Q(no_show_until__gte=on))


HEALTH_FUNCTION = """
    IF NEW."on" > current_date + 1 OR NEW.ended_on > current_date + 1 OR NEW.followed_up_on > current_date + 1 THEN
        RAISE EXCEPTION 'future' USING ERRCODE = 'check_violation', CONSTRAINT = 'health_by_today';
    END IF;
    IF EXISTS (SELECT 1 FROM herds_animal a WHERE a.id = NEW.animal_id AND a.born_on > NEW."on")
       OR EXISTS (SELECT 1 FROM herds_litter l WHERE l.id = NEW.litter_id AND l.born_on > NEW."on") THEN
        RAISE EXCEPTION 'before birth' USING ERRCODE = 'check_violation', CONSTRAINT = 'health_after_birth';
    END IF;
    RETURN NEW;
"""
sentence("health_by_today", "This day lies in the future. Choose today or an earlier day.", "on")
sentence("health_after_birth", "Nothing was born yet on this day. Choose a later day.", "on")

WRITTEN = (
    "animal", "litter", "herd", "on", "seen", "done", "dose", "vet_asked", "withdrawal_until", "no_show_until",
    "follow_up_on", "corrects", "correction_reason", "struck_out",
)  # fmt: skip


class HealthNote(models.Model):
    """What the keeper saw on an animal or a litter, and what was done about it, in the keeper's own words.

    What was written stays: a correction is a new note that names the old one, with a reason. Only the days on which
    it ended and was looked after are filled in later.
    """

    animal = models.ForeignKey(Animal, models.CASCADE, null=True, blank=True, related_name="health_notes")
    litter = models.ForeignKey(Litter, models.CASCADE, null=True, blank=True, related_name="health_notes")
    herd = models.ForeignKey(Herd, models.PROTECT, related_name="health_notes", editable=False)
    on = models.DateField("seen on", default=timezone.localdate)
    seen = models.CharField("what was seen", max_length=500)
    done = models.CharField("what was done or given", max_length=500, blank=True)
    dose = models.CharField("dose, as the vet said it", max_length=120, blank=True)
    vet_asked = models.BooleanField("a vet was asked", default=False)
    withdrawal_until = models.DateField("not for the table until", null=True, blank=True)
    no_show_until = models.DateField("not for showing until", null=True, blank=True)
    follow_up_on = models.DateField("look again on", null=True, blank=True)
    followed_up_on = models.DateField(null=True, blank=True, editable=False)
    ended_on = models.DateField("over since", null=True, blank=True, editable=False)
    corrects = models.OneToOneField(
        "self", models.CASCADE, null=True, blank=True, related_name="corrected_by", editable=False
    )
    correction_reason = models.CharField(max_length=200, blank=True)
    struck_out = models.BooleanField(
        default=False, editable=False, help_text="A correction that says: the note was written by mistake."
    )
    logged_by = models.ForeignKey("members.Member", models.PROTECT, null=True, related_name="+", editable=False)
    logged_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = HealthNoteQuerySet.as_manager()

    class Meta:
        ordering = ["-on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(animal__isnull=False, litter__isnull=True) | Q(animal__isnull=True, litter__isnull=False),
                name="health_of_one_thing",
            ),
            models.CheckConstraint(
                condition=~Q(seen=""), name="health_says_something", violation_error_message="Say what was seen."
            ),
            models.CheckConstraint(
                condition=Q(ended_on__isnull=True) | Q(ended_on__gte=F("on")),
                name="health_ends_after_start",
                violation_error_message="The note ends before the day it is about. Choose a later day.",
            ),
            models.CheckConstraint(
                condition=(Q(withdrawal_until__isnull=True) | Q(withdrawal_until__gte=F("on")))
                & (Q(no_show_until__isnull=True) | Q(no_show_until__gte=F("on"))),
                name="health_withdrawal_after_start",
                violation_error_message="The withdrawal period ends before the day of the note. Choose a later day.",
            ),
            models.CheckConstraint(
                condition=Q(follow_up_on__isnull=True) | Q(follow_up_on__gte=F("on")),
                name="health_follow_up_after_start",
                violation_error_message="The day to look again lies before the day of the note. Choose a later day.",
            ),
            models.CheckConstraint(
                condition=Q(followed_up_on__isnull=True)
                | (Q(follow_up_on__isnull=False) & Q(followed_up_on__gte=F("on"))),
                name="health_followed_up_in_order",
            ),
            models.CheckConstraint(
                condition=Q(corrects__isnull=True, correction_reason="", struck_out=False)
                | (Q(corrects__isnull=False) & ~Q(correction_reason="") & ~Q(corrects=F("id"))),
                name="health_corrected_with_reason",
                violation_error_message="Say why the note is corrected.",
            ),
        ]
        indexes = [
            models.Index(fields=["herd", "-on"]),
            models.Index(
                fields=["herd", "withdrawal_until"],
                condition=Q(withdrawal_until__isnull=False),
                name="health_withdrawals",
            ),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="health_days",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.Update,
                func=HEALTH_FUNCTION,
            ),
            pgtrigger.ReadOnly(name="health_words_stay", fields=list(WRITTEN)),
        ]

    def __str__(self):
        return f"{self.subject}, {self.on}"

    def get_absolute_url(self):
        """The page of what the note is about, where the note stands."""
        from django.urls import reverse

        if self.animal_id:
            return f"{reverse('animal-detail', args=[self.animal_id])}#panel-health"
        return f"{reverse('litter-detail', args=[self.litter_id])}#health"

    @property
    def subject(self):
        """What the note is about, in words."""
        return str(self.animal) if self.animal_id else f"the litter of {self.litter.dam}"

    def withdrawal_runs(self, on):
        """True while the animal may not go to the table, or may not be shown."""
        return any(day is not None and day >= on for day in (self.withdrawal_until, self.no_show_until))
