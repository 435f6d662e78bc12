import pgtrigger
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from clubsite.constraints import sentence
from clubsite.versions import Versioned

from .animal import Animal, Sex
from .herd import Grant, Herd


class LogQuerySet(models.QuerySet):
    """Matings, litters and what hangs on them: the herd's own, and what it shares."""

    path = "herd"

    def visible_to(self, member):
        """The log of the member's herds, of herds that share it, and of grants that include it."""
        if not (member.is_authenticated and member.is_active):
            return self.none()
        granted = Grant.objects.running().filter(mentor=member.pk, with_log=True).values("herd")
        return self.filter(
            Q(**{f"{self.path}__in": Herd.objects.kept_by(member)})
            | Q(**{f"{self.path}__shares_litters": True})
            | Q(**{f"{self.path}__in": granted})
        )

    def editable_by(self, member):
        return self.filter(**{f"{self.path}__in": Herd.objects.kept_by(member)})


class LitterLogQuerySet(LogQuerySet):
    path = "litter__herd"


class MatingLogQuerySet(LogQuerySet):
    path = "mating__herd"


MATING_FUNCTION = """
    IF EXISTS (SELECT 1 FROM herds_animal a WHERE a.id = NEW.doe_id AND a.sex = 'buck')
       OR EXISTS (SELECT 1 FROM herds_animal a WHERE a.id = NEW.buck_id AND a.sex = 'doe') THEN
        RAISE EXCEPTION 'sexes' USING ERRCODE = 'check_violation', CONSTRAINT = 'mating_buck_and_doe';
    END IF;
    IF EXISTS (SELECT 1 FROM herds_animal a WHERE a.id IN (NEW.doe_id, NEW.buck_id) AND a.born_on > NEW.mated_on - 90) THEN
        RAISE EXCEPTION 'too young' USING ERRCODE = 'check_violation', CONSTRAINT = 'mating_old_enough';
    END IF;
    IF NEW.mated_on > current_date + 1 OR NEW.until > current_date + 1 OR NEW.ended_on > current_date + 1 THEN
        RAISE EXCEPTION 'future' USING ERRCODE = 'check_violation', CONSTRAINT = 'mating_by_today';
    END IF;
    RETURN NEW;
"""
sentence("mating_by_today", "This day lies in the future. Choose today or an earlier day.", "mated_on")
sentence("mating_buck_and_doe", "A mating needs a doe and a buck. Check the sex of both animals.", "buck")
sentence(
    "mating_old_enough",
    "One of the two was younger than three months on that day. Check the date.",
    "mated_on",
)


class Mating(Versioned):
    """A doe was put to a buck on a day, or left with him until a day."""

    herd = models.ForeignKey(Herd, models.PROTECT, related_name="matings")
    doe = models.ForeignKey(Animal, models.PROTECT, related_name="matings_as_doe")
    buck = models.ForeignKey(Animal, models.PROTECT, related_name="matings_as_buck")
    mated_on = models.DateField("mated", default=timezone.localdate)
    until = models.DateField("left together until", null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)
    ended_on = models.DateField("given up", null=True, blank=True, help_text="No litter came of it.")
    logged_by = models.ForeignKey("members.Member", models.PROTECT, null=True, related_name="+", editable=False)
    logged_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = LogQuerySet.as_manager()

    class Meta:
        ordering = ["-mated_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(doe=F("buck")),
                name="mating_two_animals",
                violation_error_message="Doe and buck are the same animal. Choose another buck.",
            ),
            models.CheckConstraint(
                condition=Q(until__isnull=True) | Q(until__gte=F("mated_on")),
                name="mating_until_after_start",
                violation_error_message="They cannot be parted before they were put together.",
            ),
            models.CheckConstraint(
                condition=Q(ended_on__isnull=True) | Q(ended_on__gte=F("mated_on")),
                name="mating_ends_after_start",
            ),
            models.UniqueConstraint(
                fields=["doe", "buck", "mated_on"],
                name="mating_once_a_day",
                violation_error_message="This mating is already in the log on that day.",
            ),
        ]
        indexes = [models.Index(fields=["herd", "mated_on"])]
        triggers = [
            pgtrigger.Trigger(
                name="mating_pair",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.UpdateOf("doe_id", "buck_id", "mated_on", "until", "ended_on"),
                func=MATING_FUNCTION,
            )
        ]

    def __str__(self):
        return f"{self.doe} to {self.buck} on {self.mated_on:%d %b %Y}"

    @property
    def last_day(self):
        """The last day on which the doe may have conceived."""
        return self.until or self.mated_on


MATING_EVENT_FUNCTION = """
    IF NEW."on" > current_date + 1 THEN
        RAISE EXCEPTION 'future' USING ERRCODE = 'check_violation', CONSTRAINT = 'mating_event_by_today';
    END IF;
    IF EXISTS (SELECT 1 FROM herds_mating m WHERE m.id = NEW.mating_id AND m.mated_on > NEW."on") THEN
        RAISE EXCEPTION 'before' USING ERRCODE = 'check_violation', CONSTRAINT = 'mating_event_after_mating';
    END IF;
    RETURN NEW;
"""
sentence("mating_event_by_today", "This day lies in the future. Choose today or an earlier day.", "on")
sentence("mating_event_after_mating", "This day lies before the mating. Choose a later day.", "on")


class MatingEvent(models.Model):
    """One thing done for a mating: palpated, nest box in, and what was found."""

    class Kind(models.TextChoices):
        PALPATION = "palpation", "palpated"
        NEST_BOX = "nest_box", "nest box in"

    class Result(models.TextChoices):
        NONE = "", "nothing to say"
        IN_KINDLE = "in_kindle", "in kindle"
        EMPTY = "empty", "empty"
        UNSURE = "unsure", "not sure"

    mating = models.ForeignKey(Mating, models.CASCADE, related_name="events")
    kind = models.CharField(max_length=10, choices=Kind)
    on = models.DateField(default=timezone.localdate)
    result = models.CharField(max_length=10, choices=Result, blank=True, default=Result.NONE)
    note = models.CharField(max_length=200, blank=True)
    logged_by = models.ForeignKey("members.Member", models.PROTECT, null=True, related_name="+", editable=False)
    logged_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = MatingLogQuerySet.as_manager()

    class Meta:
        ordering = ["on", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["mating", "kind", "on"],
                name="mating_event_once_a_day",
                violation_error_message="This is already logged for that day.",
            ),
            models.CheckConstraint(
                condition=~Q(kind="palpation") | ~Q(result=""),
                name="mating_event_says_what_was_felt",
                violation_error_message="Say what was felt: in kindle, empty, or not sure.",
            ),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="mating_event_days",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.UpdateOf("mating_id", "on"),
                func=MATING_EVENT_FUNCTION,
            )
        ]

    def __str__(self):
        return f"{self.get_kind_display()} on {self.on}"


LITTER_FUNCTION = """
    IF NEW.born_on > current_date + 1 THEN
        RAISE EXCEPTION 'future' USING ERRCODE = 'check_violation', CONSTRAINT = 'litter_born_by_today';
    END IF;
    IF EXISTS (SELECT 1 FROM herds_animal a WHERE a.id = NEW.dam_id AND a.sex = 'buck')
       OR EXISTS (SELECT 1 FROM herds_animal a WHERE a.id = NEW.sire_id AND a.sex = 'doe') THEN
        RAISE EXCEPTION 'sexes' USING ERRCODE = 'check_violation', CONSTRAINT = 'litter_sire_and_dam';
    END IF;
    IF EXISTS (SELECT 1 FROM herds_animal a WHERE a.id IN (NEW.dam_id, NEW.sire_id) AND a.born_on > NEW.born_on - 120) THEN
        RAISE EXCEPTION 'too young' USING ERRCODE = 'check_violation', CONSTRAINT = 'litter_parents_old_enough';
    END IF;
    RETURN NEW;
"""
sentence("litter_born_by_today", "The kindling date lies in the future. Choose today or an earlier day.", "born_on")
sentence("litter_sire_and_dam", "A litter needs a doe as dam and a buck as sire. Check both.", "sire")
sentence(
    "litter_parents_old_enough",
    "A parent would have been younger than four months at this kindling. Check the date and the parents.",
    "born_on",
)


class Litter(Versioned):
    """A kindling and its litter. The dam here is the birth dam; foster dams stand at the kits."""

    herd = models.ForeignKey(Herd, models.PROTECT, related_name="litters")
    mating = models.ForeignKey(Mating, models.PROTECT, null=True, blank=True, related_name="litters")
    dam = models.ForeignKey(Animal, models.PROTECT, related_name="litters_as_dam")
    sire = models.ForeignKey(Animal, models.PROTECT, null=True, blank=True, related_name="litters_as_sire")
    born_on = models.DateField("kindled", default=timezone.localdate)
    born_alive = models.PositiveSmallIntegerField("born alive")
    born_dead = models.PositiveSmallIntegerField("born dead", default=0)
    born_total = models.GeneratedField(
        expression=F("born_alive") + F("born_dead"), output_field=models.IntegerField(), db_persist=True
    )
    note = models.TextField(blank=True)
    logged_by = models.ForeignKey("members.Member", models.PROTECT, null=True, related_name="+", editable=False)
    logged_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = LogQuerySet.as_manager()

    class Meta:
        ordering = ["-born_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(sire__isnull=True) | ~Q(sire=F("dam")),
                name="litter_two_parents",
                violation_error_message="Sire and dam are the same animal. Choose another sire.",
            ),
            models.UniqueConstraint(
                fields=["dam", "born_on"],
                name="litter_once_per_dam_and_day",
                violation_error_message="This dam already has a litter on that day.",
            ),
            models.UniqueConstraint(
                fields=["mating"],
                condition=Q(mating__isnull=False),
                name="litter_once_per_mating",
                violation_error_message="This mating already has its litter.",
            ),
            models.CheckConstraint(
                condition=Q(born_alive__lte=25, born_dead__lte=25) & (Q(born_alive__gte=1) | Q(born_dead__gte=1)),
                name="litter_size_possible",
                violation_error_message="A litter has 1 to 25 kits, alive and dead together counted. Check the numbers.",
            ),
        ]
        indexes = [models.Index(fields=["herd", "born_on"])]
        triggers = [
            pgtrigger.Trigger(
                name="litter_parents",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.UpdateOf("dam_id", "sire_id", "born_on"),
                func=LITTER_FUNCTION,
            )
        ]

    def __str__(self):
        return f"litter of {self.dam}, {self.born_on:%d %b %Y}"

    def get_absolute_url(self):
        from django.urls import reverse

        return reverse("litter-detail", args=[self.pk])


LITTER_EVENT_FUNCTION = """
    IF NEW."on" > current_date + 1 THEN
        RAISE EXCEPTION 'future' USING ERRCODE = 'check_violation', CONSTRAINT = 'litter_event_by_today';
    END IF;
    IF EXISTS (SELECT 1 FROM herds_litter l WHERE l.id = NEW.litter_id AND l.born_on > NEW."on") THEN
        RAISE EXCEPTION 'before' USING ERRCODE = 'check_violation', CONSTRAINT = 'litter_event_after_birth';
    END IF;
    RETURN NEW;
"""
sentence("litter_event_by_today", "This day lies in the future. Choose today or an earlier day.", "on")
sentence("litter_event_after_birth", "This day lies before the kindling. Choose a later day.", "on")


class LitterEvent(models.Model):
    """One thing done with a litter on a day, and how many kits were alive."""

    class Kind(models.TextChoices):
        NEST_CHECK = "nest_check", "nest checked"
        NEST_BOX_OUT = "nest_box_out", "nest box out"
        WEANED = "weaned", "weaned"

    litter = models.ForeignKey(Litter, models.CASCADE, related_name="events")
    kind = models.CharField(max_length=12, choices=Kind)
    on = models.DateField(default=timezone.localdate)
    alive = models.PositiveSmallIntegerField(null=True, blank=True)
    dead = models.PositiveSmallIntegerField("found dead", null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)
    logged_by = models.ForeignKey("members.Member", models.PROTECT, null=True, related_name="+", editable=False)
    logged_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = LitterLogQuerySet.as_manager()

    class Meta:
        ordering = ["on", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["litter", "kind", "on"],
                name="litter_event_once_a_day",
                violation_error_message="This is already logged for that day.",
            ),
            models.UniqueConstraint(
                fields=["litter"],
                condition=Q(kind="weaned"),
                name="litter_weaned_once",
                violation_error_message="This litter is already weaned.",
            ),
            models.UniqueConstraint(
                fields=["litter"],
                condition=Q(kind="nest_box_out"),
                name="litter_box_out_once",
                violation_error_message="The nest box of this litter is out already.",
            ),
            models.CheckConstraint(
                condition=(Q(alive__isnull=True) | Q(alive__lte=30)) & (Q(dead__isnull=True) | Q(dead__lte=30)),
                name="litter_event_counts_possible",
                violation_error_message="A nest holds at most 30 kits, fostered ones counted. Check the numbers.",
            ),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="litter_event_days",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.UpdateOf("litter_id", "on"),
                func=LITTER_EVENT_FUNCTION,
            )
        ]

    def __str__(self):
        return f"{self.get_kind_display()} on {self.on}"


class WhitePlace(models.TextChoices):
    """Where white was seen on a kit at birth."""

    NONE = "none", "none seen"
    HEAD = "head", "head"
    NOSE = "nose", "nose"
    NECK = "neck", "neck"
    SHOULDER = "shoulder", "shoulder"
    BODY = "body", "body"
    BELLY = "belly", "belly"
    FEET = "feet", "feet"
    NAILS = "nails", "white nails"
    TAIL = "tail", "tail"


KIT_FUNCTION = """
    IF NEW.died_on > current_date + 1 OR NEW.fostered_on > current_date + 1 THEN
        RAISE EXCEPTION 'future' USING ERRCODE = 'check_violation', CONSTRAINT = 'kit_days_by_today';
    END IF;
    IF EXISTS (
        SELECT 1 FROM herds_litter l WHERE l.id = NEW.litter_id
        AND (l.born_on > NEW.died_on OR l.born_on > NEW.fostered_on)) THEN
        RAISE EXCEPTION 'before birth' USING ERRCODE = 'check_violation', CONSTRAINT = 'kit_days_after_birth';
    END IF;
    IF EXISTS (SELECT 1 FROM herds_litter l WHERE l.id = NEW.fostered_to_id AND l.born_on > NEW.fostered_on) THEN
        RAISE EXCEPTION 'no nest yet' USING ERRCODE = 'check_violation', CONSTRAINT = 'kit_fostered_to_a_nest';
    END IF;
    RETURN NEW;
"""
sentence("kit_days_by_today", "This day lies in the future. Choose today or an earlier day.")
sentence("kit_days_after_birth", "The kit was not yet born on this day. Choose a later day.")
sentence("kit_fostered_to_a_nest", "The foster litter was not yet born on this day. Choose a later day.", "on")


class Kit(Versioned):
    """A kit of a litter until it is marked; then its animal carries on. Only the birth dam counts genetically."""

    litter = models.ForeignKey(Litter, models.CASCADE, related_name="kits")
    number = models.PositiveSmallIntegerField()
    sex = models.CharField(max_length=7, choices=Sex, default=Sex.UNKNOWN)
    white_at = ArrayField(
        models.CharField(max_length=10, choices=WhitePlace), default=list, blank=True,
        verbose_name="white seen at birth", help_text="Empty: not looked. 'None seen' is an answer.",
    )  # fmt: skip
    white_seen_on = models.DateField(null=True, blank=True)
    fostered_to = models.ForeignKey(Litter, models.PROTECT, null=True, blank=True, related_name="fostered_in")
    fostered_on = models.DateField(null=True, blank=True)
    died_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)
    animal = models.OneToOneField(Animal, models.PROTECT, null=True, blank=True, related_name="kit")

    objects = LitterLogQuerySet.as_manager()

    class Meta:
        ordering = ["litter", "number"]
        constraints = [
            models.UniqueConstraint(fields=["litter", "number"], name="kit_number_once_in_litter"),
            models.CheckConstraint(condition=Q(number__gte=1, number__lte=25), name="kit_number_possible"),
            models.CheckConstraint(condition=Q(sex__in=Sex.values), name="kit_sex_known_word"),
            models.CheckConstraint(
                condition=Q(fostered_to__isnull=True, fostered_on__isnull=True)
                | Q(fostered_to__isnull=False, fostered_on__isnull=False),
                name="kit_fostered_in_pair",
                violation_error_message="A fostered kit needs both the foster litter and the day.",
            ),
            models.CheckConstraint(
                condition=Q(fostered_to__isnull=True) | ~Q(fostered_to=F("litter")),
                name="kit_fostered_elsewhere",
                violation_error_message="A kit cannot be fostered to its own litter.",
            ),
            models.CheckConstraint(
                condition=~Q(white_at__contains=["none"]) | Q(white_at=["none"]),
                name="kit_white_none_stands_alone",
                violation_error_message="'None seen' cannot stand beside a place. Untick one.",
            ),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="kit_days",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert
                | pgtrigger.UpdateOf("litter_id", "died_on", "fostered_on", "fostered_to_id"),
                func=KIT_FUNCTION,
            )
        ]

    def __str__(self):
        return f"kit {self.number} of {self.litter}"

    @property
    def rearing_litter(self):
        """The litter in whose nest the kit grows up."""
        return self.fostered_to or self.litter
