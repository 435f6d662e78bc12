from django.contrib.postgres.fields import ArrayField
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q


def weigh_days_default():
    return [21, 35, 56, 70]


def days(label, default, help_text=""):
    """A number of days that the club may set."""
    validators = [MinValueValidator(0), MaxValueValidator(1000)]
    return models.PositiveSmallIntegerField(label, default=default, validators=validators, help_text=help_text)


class Club(models.Model):
    """The club's own settings, one row. Defaults are those of the trade; each club may set its own."""

    name = models.CharField(max_length=120, default="Our club")
    region = models.CharField(max_length=120, blank=True)
    introduction = models.TextField(blank=True, help_text="Shown on the public page. No names, no addresses.")
    house_rules = models.TextField(blank=True, help_text="Shown to members beside the app's own cautions.")
    is_demo = models.BooleanField(default=False, editable=False)

    palpation_days = days("palpate on day", 12, "After mating; 10 to 14 is usual.")
    nest_box_days = days("nest box in on day", 28)
    due_days = days("kindling due on day", 31)
    overdue_days = days("call a vet when there is no litter by day", 32)
    earliest_kindling_days = days("earliest day of a live litter", 28)
    latest_kindling_days = days("latest day of a live litter", 35)
    first_check_days = days("first nest check within days", 1)
    nest_box_out_days = days("nest box out at days of age", 21)
    weigh_days = ArrayField(
        models.PositiveSmallIntegerField(), default=weigh_days_default, verbose_name="weigh at days of age"
    )
    wean_from_days = days("wean from days of age", 42)
    wean_to_days = days("wean by days of age", 56)
    rebreed_from_days = days("rebreed from days after kindling", 35)
    rebreed_to_days = days("rebreed by days after kindling", 42)
    quarantine_days = days("quarantine for days", 30)
    fostering_days = days("foster within days of birth", 3)
    breeding_age_days = days("youngest age at mating in days", 105)

    smallest_group_animals = days("smallest group shown breed-wide, animals", 5)
    smallest_group_herds = days("smallest group shown breed-wide, herds", 3)
    ranking_progeny = days("progeny before a sire is ranked", 5)
    ranking_dams = days("dams before a sire is ranked", 2)
    grant_days = days("a mentor grant lasts days", 90)
    invitation_days = days("an invitation lasts days", 14)
    calibration_days = days("a calibration result is current for days", 365)

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
                condition=Q(wean_from_days__lte=F("wean_to_days")),
                name="club_wean_days_in_order",
                violation_error_message="The first weaning day must not come after the last.",
            ),
            models.CheckConstraint(
                condition=Q(rebreed_from_days__lte=F("rebreed_to_days")),
                name="club_rebreed_days_in_order",
                violation_error_message="The first rebreeding day must not come after the last.",
            ),
        ]

    def __str__(self):
        return self.name

    @classmethod
    def current(cls):
        """The club's row; made with the trade's defaults when it is not there yet."""
        return cls.objects.get_or_create(pk=1)[0]
