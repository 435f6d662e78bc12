from django.contrib.postgres.fields import ArrayField
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Func, Q

# What a club may set, from and to: wide enough for any breed and any way of keeping rabbits, and narrow enough to
# refuse a slip of the finger. Common practice, no source.
RANGES = {
    "palpation_days": (7, 21),
    "nest_box_days": (20, 35),
    "due_days": (28, 35),
    "overdue_days": (29, 45),
    "earliest_kindling_days": (25, 33),
    "latest_kindling_days": (30, 45),
    "first_check_days": (0, 7),
    "nest_box_out_days": (10, 42),
    "wean_from_days": (21, 120),
    "wean_to_days": (21, 150),
    "rebreed_from_days": (0, 365),
    "rebreed_to_days": (0, 365),
    "quarantine_days": (1, 180),
    "fostering_days": (0, 14),
    "breeding_age_days": (90, 400),
    "close_mating_percent": (1, 50),
    "smallest_group_animals": (1, 100),
    "smallest_group_herds": (1, 50),
    "ranking_progeny": (1, 100),
    "ranking_dams": (1, 50),
    "grant_days": (1, 730),
    "invitation_days": (1, 90),
    "calibration_days": (30, 1000),
    "calibration_reminder_days": (1, 30),
    "handing_on_days": (1, 90),
}
WEIGHINGS, LATEST_WEIGHING = 12, 400


def weigh_days_default():
    return [21, 35, 56, 70]


def days(name, label, default, help_text=""):
    """A number that the club may set, within its range."""
    validators = [limit(bound, range_words(name)) for limit, bound in zip(LIMITS, RANGES[name], strict=True)]
    return models.PositiveSmallIntegerField(label, default=default, validators=validators, help_text=help_text)


LIMITS = (MinValueValidator, MaxValueValidator)


def range_words(name):
    """What is said of a number outside its range."""
    low, high = RANGES[name]
    return f"Give a whole number from {low} to {high}."


def range_rule(name):
    low, high = RANGES[name]
    return models.CheckConstraint(
        condition=Q(**{f"{name}__gte": low, f"{name}__lte": high}),
        name=f"club_{name}_in_range",
        violation_error_message=range_words(name),
    )


def every(template):
    """A condition on each number of an array."""
    return Func(F("weigh_days"), template=template, output_field=models.BooleanField())


def picture_path(club, filename):
    """Where the re-encoded picture is kept; its name is made from its content, so that a browser may keep it."""
    return f"club/{filename}"


class Club(models.Model):
    """The club's own settings, one row. Defaults are those of the trade; each club may set its own."""

    name = models.CharField(max_length=120, default="Our club")
    region = models.CharField(max_length=120, blank=True)
    introduction = models.TextField(
        blank=True, max_length=6000, help_text="Shown on the public page. No names, no addresses."
    )
    meetings = models.TextField("meetings and shows", blank=True, max_length=2000)
    enquiries = models.EmailField("address for enquiries", blank=True)
    picture = models.ImageField("picture or logo", upload_to=picture_path, blank=True, max_length=120)
    house_rules = models.TextField(
        blank=True, max_length=2000, help_text="Shown to members beside the app's own cautions."
    )
    is_demo = models.BooleanField(default=False, editable=False)

    palpation_days = days("palpation_days", "palpate on day", 12, "After mating; 10 to 14 is usual.")
    nest_box_days = days("nest_box_days", "nest box in on day", 28)
    due_days = days("due_days", "kindling due on day", 31)
    overdue_days = days("overdue_days", "call a vet when there is no litter by day", 32)
    earliest_kindling_days = days("earliest_kindling_days", "earliest day of a live litter", 28)
    latest_kindling_days = days("latest_kindling_days", "latest day of a live litter", 35)
    first_check_days = days("first_check_days", "first nest check within days", 1)
    nest_box_out_days = days("nest_box_out_days", "nest box out at days of age", 21)
    weigh_days = ArrayField(
        models.PositiveSmallIntegerField(), default=weigh_days_default, verbose_name="weigh at days of age"
    )
    wean_from_days = days("wean_from_days", "wean from days of age", 42)
    wean_to_days = days("wean_to_days", "wean by days of age", 56)
    rebreed_from_days = days("rebreed_from_days", "rebreed from days after kindling", 35)
    rebreed_to_days = days("rebreed_to_days", "rebreed by days after kindling", 42)
    quarantine_days = days("quarantine_days", "quarantine for days", 30)
    fostering_days = days("fostering_days", "foster within days of birth", 3)
    breeding_age_days = days("breeding_age_days", "youngest age at mating in days", 105)
    close_mating_percent = days("close_mating_percent", "close mating from an expected inbreeding of percent", 12)

    smallest_group_animals = days("smallest_group_animals", "smallest group shown breed-wide, animals", 5)
    smallest_group_herds = days("smallest_group_herds", "smallest group shown breed-wide, herds", 3)
    ranking_progeny = days("ranking_progeny", "progeny before a sire is ranked", 5)
    ranking_dams = days("ranking_dams", "dams before a sire is ranked", 2)
    grant_days = days("grant_days", "a mentor grant lasts days", 90)
    invitation_days = days("invitation_days", "an invitation lasts days", 14)
    calibration_days = days("calibration_days", "a calibration result is current for days", 365)
    calibration_reminder_days = days("calibration_reminder_days", "remind before a calibration closes, days", 3)

    handing_on_days = days("handing_on_days", "an unanswered request is handed on after days", 14)

    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="club_is_one"),
            models.CheckConstraint(
                condition=Q(earliest_kindling_days__lte=F("due_days"), due_days__lte=F("latest_kindling_days")),
                name="club_kindling_days_in_order",
                violation_error_message="The due day must lie between the earliest and the latest kindling day.",
            ),
            models.CheckConstraint(
                condition=Q(palpation_days__lt=F("due_days"), nest_box_days__lt=F("due_days")),
                name="club_before_due_day",
                violation_error_message="Palpation and the nest box come before kindling is due.",
            ),
            models.CheckConstraint(
                condition=Q(due_days__lte=F("overdue_days")),
                name="club_vet_after_due_day",
                violation_error_message="The day to call a vet must not come before the due day.",
            ),
            models.CheckConstraint(
                condition=Q(wean_from_days__lte=F("wean_to_days")),
                name="club_wean_days_in_order",
                violation_error_message="The first weaning day must not come after the last.",
            ),
            models.CheckConstraint(
                condition=Q(rebreed_from_days__lte=F("rebreed_to_days")),
                name="club_rebreed_days_in_order",
                violation_error_message="The first rebreeding day must not come after the last.",
            ),
            models.CheckConstraint(
                condition=Q(weigh_days__len__lte=WEIGHINGS)
                & Q(every("0 <= ALL(%(expressions)s)"))
                & Q(every(f"{LATEST_WEIGHING} >= ALL(%(expressions)s)")),
                name="club_weigh_days_in_range",
                violation_error_message=f"Weigh at most {WEIGHINGS} times, at 0 to {LATEST_WEIGHING} days of age.",
            ),
            *[range_rule(name) for name in RANGES],
        ]

    def __str__(self):
        return self.name

    @property
    def picture_url(self):
        """Where the picture is served to everybody, or '' without one."""
        from django.urls import reverse

        return reverse("club-picture", args=[self.picture.name.rpartition("/")[2]]) if self.picture else ""

    @classmethod
    def current(cls):
        """The club's row; made with the trade's defaults when it is not there yet."""
        return cls.objects.get_or_create(pk=1)[0]
