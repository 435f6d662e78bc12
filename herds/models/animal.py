import pgtrigger
from django.db import models
from django.db.models import F, OuterRef, Q, Subquery, Value
from django.db.models.functions import NullIf
from django.utils import timezone

from clubsite.constraints import sentence
from clubsite.versions import Versioned

from .herd import Herd
from .natural import Keyed, NaturalKey

# The database's own floor between a parent's birth and its young one's: younger does not happen in any breed.
# The club's setting (105 days at mating by default) is stricter and asked in the action.
YOUNGEST_PARENT_DAYS = 120


class Breed(models.Model):
    """A breed that the club registers."""

    name = models.CharField(max_length=80, unique=True)
    slug = models.SlugField(max_length=80, unique=True)

    class Meta:
        ordering = ["name"]

    def __str__(self):
        return self.name


class Sex(models.TextChoices):
    BUCK = "buck", "buck"
    DOE = "doe", "doe"
    UNKNOWN = "unknown", "sex unknown"


class Status(models.TextChoices):
    """Where an animal is now, in neutral words."""

    HERE = "here", "in the herd"
    ON_LOAN = "on_loan", "on loan"
    MOVED_ON = "moved_on", "moved to another home"
    DIED = "died", "died"
    PUT_DOWN = "put_down", "put down on a vet's advice"
    TABLE = "table", "went to the table"
    OUTSIDE = "outside", "outside the club"
    NOT_TRACED = "not_traced", "not traced"


PRESENT = (Status.HERE, Status.ON_LOAN)


class AnimalQuerySet(models.QuerySet):
    """The registry card of every animal is known to members; all the rest follows the herd."""

    def visible_to(self, member):
        """Animals whose registry card the member may read: all, for an active member."""
        return self.all() if member.is_authenticated and member.is_active else self.none()

    def kept_by(self, member):
        """Animals of the member's own herds."""
        return self.filter(herd__in=Herd.objects.kept_by(member))

    editable_by = kept_by

    def gradable_by(self, member, on=None):
        """Animals the member may grade: their own herds', and those that a running grant says so of."""
        from .animal_grant import AnimalGrant
        from .herd import Grant

        granted = Grant.objects.running(on).filter(mentor=member.pk, may_grade=True).values("herd")
        singly = AnimalGrant.objects.running(on).filter(mentor=member.pk, may_grade=True).values("animal")
        if not (member.is_authenticated and member.is_active):
            return self.none()
        return self.filter(Q(herd__in=Herd.objects.kept_by(member)) | Q(herd__in=granted) | Q(pk__in=singly))

    def identity_editable_by(self, member):
        """Animals whose marks, parents, sex and birth date the member may correct as registrar."""
        return self.visible_to(member) if getattr(member, "is_registrar", False) else self.none()

    def card_editable_by(self, member):
        """The member's own animals, and ancestors outside the club that they entered."""
        outside = Q(herd__isnull=True, logged_by=member.pk)
        return self.visible_to(member).filter(outside | Q(herd__in=Herd.objects.kept_by(member)))

    def markable_by(self, member):
        """Animals whose marks the member may add to and replace."""
        return self.visible_to(member) if getattr(member, "is_registrar", False) else self.card_editable_by(member)

    def here(self):
        """Animals that stand in their herd today."""
        return self.filter(status__in=PRESENT)

    def with_decision(self):
        """Annotate its herd's last keep / grow on / let go decision as `verdict` (None: none), `verdict_reason`."""
        from .care import Decision, Verdict

        last = Decision.objects.filter(animal=OuterRef("pk"), herd=OuterRef("herd")).order_by("-decided_on", "-pk")
        return self.annotate(
            verdict=NullIf(Subquery(last.values("verdict")[:1]), Value(Verdict.UNDECIDED)),
            verdict_reason=Subquery(last.values("reason")[:1]),
        )

    def outcome_known_to(self, member):
        """Animals of which the member may know where they are now: their own, and those of herds that share it."""
        if not (member.is_authenticated and member.is_active):
            return self.none()
        own = Q(herd__in=Herd.objects.kept_by(member))
        return self.filter(own | Q(herd__shares_outcomes=True) | Q(status=Status.OUTSIDE))

    def by_mark(self):
        """In the natural order of marks, A2 before A10; animals without a mark last."""
        return self.order_by(F("mark_order").asc(nulls_last=True), "name", "pk")


# The parents' rows are locked first, so that their sex and birth date cannot be changed meanwhile by somebody else.
PARENTS_FUNCTION = f"""
    PERFORM 1 FROM herds_animal p WHERE p.id IN (NEW.sire_id, NEW.dam_id) ORDER BY p.id FOR SHARE;
    IF NEW.born_on IS NOT NULL AND NEW.born_on > current_date + 1 THEN
        RAISE EXCEPTION 'born in the future' USING ERRCODE = 'check_violation', CONSTRAINT = 'animal_born_by_today';
    END IF;
    IF NEW.sire_id IS NOT NULL AND EXISTS (SELECT 1 FROM herds_animal p WHERE p.id = NEW.sire_id AND p.sex = 'doe') THEN
        RAISE EXCEPTION 'sire is a doe' USING ERRCODE = 'check_violation', CONSTRAINT = 'animal_sire_is_no_doe';
    END IF;
    IF NEW.dam_id IS NOT NULL AND EXISTS (SELECT 1 FROM herds_animal p WHERE p.id = NEW.dam_id AND p.sex = 'buck') THEN
        RAISE EXCEPTION 'dam is a buck' USING ERRCODE = 'check_violation', CONSTRAINT = 'animal_dam_is_no_buck';
    END IF;
    IF NEW.born_on IS NOT NULL AND EXISTS (
        SELECT 1 FROM herds_animal p WHERE p.id IN (NEW.sire_id, NEW.dam_id)
        AND p.born_on IS NOT NULL AND p.born_on > NEW.born_on - {YOUNGEST_PARENT_DAYS}) THEN
        RAISE EXCEPTION 'parent too young' USING ERRCODE = 'check_violation', CONSTRAINT = 'animal_parent_old_enough';
    END IF;
    IF TG_OP = 'UPDATE' THEN
        IF NEW.sex = 'doe' AND OLD.sex <> 'doe' AND EXISTS (SELECT 1 FROM herds_animal c WHERE c.sire_id = NEW.id) THEN
            RAISE EXCEPTION 'a sire' USING ERRCODE = 'check_violation', CONSTRAINT = 'animal_sex_fits_progeny';
        END IF;
        IF NEW.sex = 'buck' AND OLD.sex <> 'buck' AND EXISTS (SELECT 1 FROM herds_animal c WHERE c.dam_id = NEW.id) THEN
            RAISE EXCEPTION 'a dam' USING ERRCODE = 'check_violation', CONSTRAINT = 'animal_sex_fits_progeny';
        END IF;
        IF NEW.born_on IS DISTINCT FROM OLD.born_on AND EXISTS (
            SELECT 1 FROM herds_animal c WHERE (c.sire_id = NEW.id OR c.dam_id = NEW.id)
            AND c.born_on IS NOT NULL AND c.born_on < NEW.born_on + {YOUNGEST_PARENT_DAYS}) THEN
            RAISE EXCEPTION 'younger than progeny' USING ERRCODE = 'check_violation',
                CONSTRAINT = 'animal_older_than_progeny';
        END IF;
        IF NEW.sire_id IS DISTINCT FROM OLD.sire_id OR NEW.dam_id IS DISTINCT FROM OLD.dam_id THEN
            PERFORM pg_advisory_xact_lock(730001);
            IF EXISTS (
                WITH RECURSIVE up(id) AS (
                    SELECT unnest(ARRAY[NEW.sire_id, NEW.dam_id])
                    UNION
                    SELECT unnest(ARRAY[a.sire_id, a.dam_id]) FROM herds_animal a JOIN up ON a.id = up.id)
                SELECT 1 FROM up WHERE id = NEW.id) THEN
                RAISE EXCEPTION 'own ancestor' USING ERRCODE = 'check_violation',
                    CONSTRAINT = 'animal_not_own_ancestor';
            END IF;
        END IF;
    END IF;
    RETURN NEW;
"""

DAYS_FUNCTION = """
    IF NEW.status_on > current_date + 1 THEN
        RAISE EXCEPTION 'future' USING ERRCODE = 'check_violation', CONSTRAINT = 'animal_status_by_today';
    END IF;
    IF NEW.silver_complete_on > current_date + 1 THEN
        RAISE EXCEPTION 'future' USING ERRCODE = 'check_violation', CONSTRAINT = 'animal_silvered_by_today';
    END IF;
    RETURN NEW;
"""

sentence("animal_status_by_today", "This day lies in the future. Choose today or an earlier day.", "status_on")
sentence(
    "animal_silvered_by_today",
    "The day of complete silvering lies in the future. Choose today or an earlier day.",
    "silver_complete_on",
)
sentence("animal_born_by_today", "The birth date lies in the future. Choose today or an earlier day.", "born_on")
sentence("animal_sire_is_no_doe", "The sire is registered as a doe. Choose a buck.", "sire")
sentence("animal_dam_is_no_buck", "The dam is registered as a buck. Choose a doe.", "dam")
sentence(
    "animal_parent_old_enough",
    "A parent would have been younger than four months at this birth. Check the birth date, the sire and the dam.",
    "born_on",
)
sentence("animal_sex_fits_progeny", "This animal has progeny as the other sex. Correct the progeny first.", "sex")
sentence(
    "animal_older_than_progeny",
    "The animal has progeny born before or too soon after this date. Check the birth date.",
    "born_on",
)
sentence(
    "animal_not_own_ancestor",
    "With these parents the animal would be its own ancestor. Change the sire or the dam.",
    "sire",
)


class Animal(Versioned):
    """One rabbit. Its card is the club's; what is logged about it belongs to its herd."""

    herd = models.ForeignKey(
        Herd, models.PROTECT, null=True, blank=True, related_name="animals",
        help_text="Empty for an ancestor outside the club.",
    )  # fmt: skip
    breed = models.ForeignKey(Breed, models.PROTECT, related_name="animals")
    name = models.CharField(max_length=80, blank=True)
    sex = models.CharField(max_length=7, choices=Sex, default=Sex.UNKNOWN)
    variety = models.CharField(max_length=60, blank=True)
    born_on = models.DateField("born", null=True, blank=True)
    sire = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="sired")
    dam = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="borne")
    litter = models.ForeignKey(
        "herds.Litter", models.PROTECT, null=True, blank=True, related_name="animals", editable=False
    )
    bred_in = models.ForeignKey(
        Herd, models.PROTECT, null=True, blank=True, related_name="bred",
        help_text="The breeder's herd, when it is in the club.",
    )  # fmt: skip
    breeder_name = models.CharField("breeder", max_length=80, blank=True, help_text="When outside the club.")
    imported = models.BooleanField("came from abroad", default=False)
    status = models.CharField(max_length=10, choices=Status, default=Status.HERE)
    status_on = models.DateField(null=True, blank=True)
    status_note = models.CharField(max_length=200, blank=True)
    silver_complete_on = models.DateField(
        "silvering complete", null=True, blank=True, help_text="The day it was first seen complete."
    )
    offered_to_club = models.BooleanField("offered for matings to the club", default=False)
    notes = models.TextField(blank=True)
    mark_text = models.CharField(max_length=40, blank=True, editable=False)
    mark_order = models.GeneratedField(
        expression=NaturalKey("mark_text"), output_field=models.TextField(null=True), db_persist=True
    )
    logged_by = models.ForeignKey("members.Member", models.PROTECT, null=True, related_name="+", editable=False)
    logged_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = AnimalQuerySet.as_manager()

    class Meta:
        ordering = ["-born_on", "mark_text", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(sire__isnull=True) | Q(dam__isnull=True) | ~Q(sire=F("dam")),
                name="animal_two_parents",
                violation_error_message="Sire and dam are the same animal. Choose another sire.",
            ),
            models.CheckConstraint(
                condition=(Q(sire__isnull=True) | ~Q(sire=F("id"))) & (Q(dam__isnull=True) | ~Q(dam=F("id"))),
                name="animal_not_own_parent",
                violation_error_message="An animal cannot be its own parent. Choose another sire or dam.",
            ),
            models.CheckConstraint(condition=Q(sex__in=Sex.values), name="animal_sex_known_word"),
            models.CheckConstraint(condition=Q(status__in=Status.values), name="animal_status_known_word"),
            models.CheckConstraint(
                condition=Q(silver_complete_on__isnull=True)
                | Q(born_on__isnull=True)
                | Q(silver_complete_on__gte=F("born_on")),
                name="animal_silvered_after_birth",
                violation_error_message="Silvering cannot be complete before the animal was born.",
            ),
            models.CheckConstraint(
                condition=Q(status_on__isnull=True) | Q(born_on__isnull=True) | Q(status_on__gte=F("born_on")),
                name="animal_status_after_birth",
                violation_error_message="The animal was not yet born on that day.",
            ),
            models.CheckConstraint(
                condition=Q(herd__isnull=False) | ~Q(status__in=[Status.HERE, Status.ON_LOAN]),
                name="animal_here_has_herd",
                violation_error_message="An animal that is in the herd needs a herd.",
            ),
        ]
        indexes = [
            models.Index(fields=["herd", "status"]),
            models.Index(fields=["breed", "born_on"]),
            models.Index(fields=["mark_text"]),
            models.Index(fields=["mark_order", "name", "id"], name="animal_in_order_of_marks"),
            models.Index(Keyed("name"), name="animal_name_key"),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="animal_parents",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.UpdateOf("sire_id", "dam_id", "sex", "born_on"),
                func=PARENTS_FUNCTION,
            ),
            pgtrigger.Trigger(
                name="animal_days",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.UpdateOf("status_on", "silver_complete_on"),
                func=DAYS_FUNCTION,
            ),
        ]

    def __str__(self):
        words = [word for word in (self.mark_text, self.name) if word]
        return " ".join(words) or f"animal {self.pk}"

    def get_absolute_url(self):
        from django.urls import reverse

        return reverse("animal-detail", args=[self.pk])

    def age_days(self, on):
        """Age in whole days on a day; None when the birth date is not known."""
        return (on - self.born_on).days if self.born_on else None

    @property
    def is_here(self):
        return self.status in PRESENT

    @property
    def breeder(self):
        """Who bred it, in words: a herd of the club, or the outside breeder's name."""
        return str(self.bred_in) if self.bred_in_id else self.breeder_name or "breeder unknown"
