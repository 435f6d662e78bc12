from decimal import Decimal

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Mod
from django.db.models.lookups import Exact

from herds.models import Breed, Sex

from .editions import (
    OF_ITS_CLASS,
    OF_ITS_TRAIT,
    edition_kept,
    goal_on_scale,
    kept_once_published,
    step_text_in_scale,
    trait_kept,
)


class Site(models.TextChoices):
    """Where the coat is parted."""

    WHOLE = "", "whole animal"
    SHOULDER = "shoulder", "shoulder"
    LOIN = "loin", "loin"
    RUMP = "rump", "rump"


class Summary(models.TextChoices):
    """Which column of a look sums the trait up, so that lists and plots need no join."""

    NONE = "", "none"
    SURFACE = "surface", "surface shade"
    UNDERCOLOR = "undercolor", "undercolor darkness"
    REACH = "reach", "undercolor reach"


class Trait(models.Model):
    """What is graded. One row for all profiles, so that looks of different editions can be compared."""

    code = models.SlugField(max_length=40, unique=True)
    name = models.CharField(max_length=60)
    question = models.CharField(max_length=160, help_text="What the screen asks.")
    section = models.PositiveSmallIntegerField(help_text="The section of the look, 1 to 5.")
    position = models.PositiveSmallIntegerField(default=0, help_text="The order within the section.")
    scale_low = models.PositiveSmallIntegerField(default=1)
    scale_high = models.PositiveSmallIntegerField(default=9)
    low_words = models.CharField(max_length=40, help_text="What the lowest step means, in two or three words.")
    high_words = models.CharField(max_length=40)
    two_sided = models.BooleanField(default=False, help_text="5 is 'the same'.")
    sites = ArrayField(models.CharField(max_length=10), default=list, blank=True)
    photo_can_show = models.BooleanField(default=True)
    summary = models.CharField(max_length=10, choices=Summary, blank=True, default=Summary.NONE)

    class Meta:
        ordering = ["section", "position", "code"]
        constraints = [
            models.CheckConstraint(condition=Q(section__gte=1, section__lte=5), name="trait_section_of_five"),
            models.CheckConstraint(
                condition=Q(scale_low__lt=F("scale_high"), scale_high__lte=10), name="trait_scale_in_order"
            ),
            models.CheckConstraint(
                condition=Q(sites__contained_by=["shoulder", "loin", "rump"]), name="trait_sites_known"
            ),
        ]
        triggers = [trait_kept]

    def __str__(self):
        return self.name

    @property
    def steps(self):
        return range(self.scale_low, self.scale_high + 1)


class BreedProfile(models.Model):
    """One association's schedule for one breed, by edition. A published edition is never changed."""

    breed = models.ForeignKey(Breed, models.PROTECT, related_name="profiles")
    association = models.CharField(max_length=80)
    name = models.CharField(max_length=120)
    edition = models.CharField(max_length=40)
    official = models.BooleanField(default=False)
    source = models.CharField(max_length=200, blank=True, help_text="Where the schedule was taken from.")
    points_total = models.PositiveSmallIntegerField(default=100)
    in_force_from = models.DateField()
    in_force_until = models.DateField(null=True, blank=True)
    published_at = models.DateTimeField(null=True, blank=True)
    previous = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="later")

    class Meta:
        ordering = ["breed", "association", "-in_force_from"]
        constraints = [
            models.UniqueConstraint(
                fields=["breed", "association", "edition"],
                name="profile_edition_once",
                violation_error_message="This association's edition for the breed is already there.",
            ),
            models.CheckConstraint(
                condition=Q(in_force_until__isnull=True) | Q(in_force_until__gte=F("in_force_from")),
                name="profile_in_force_in_order",
            ),
        ]
        triggers = [edition_kept]

    def __str__(self):
        return f"{self.name}, {self.edition}"

    def get_absolute_url(self):
        from django.urls import reverse

        return reverse("profile-detail" if self.published_at else "profile-edit", args=[self.pk])

    @classmethod
    def in_force(cls, breed, on):
        """The published edition for the breed on a day; None when the club has none."""
        return (
            cls.objects.filter(breed=breed, published_at__isnull=False, in_force_from__lte=on)
            .filter(Q(in_force_until__isnull=True) | Q(in_force_until__gte=on))
            .order_by("-in_force_from", "-pk")
            .first()
        )


class Position(models.Model):
    """A position of the schedule and its points; parts of a position name it as parent."""

    profile = models.ForeignKey(BreedProfile, models.CASCADE, related_name="positions")
    code = models.SlugField(max_length=40)
    name = models.CharField(max_length=80)
    points = models.DecimalField(max_digits=5, decimal_places=1)
    floor = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)
    step = models.DecimalField(max_digits=3, decimal_places=1, default=1, help_text="1, or 0.5 for half points.")
    by_weight = models.BooleanField(default=False, help_text="Its points come from the weight table.")
    parent = models.ForeignKey("self", models.CASCADE, null=True, blank=True, related_name="parts")
    position = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["position", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["profile", "code"], name="position_once_in_profile"),
            models.CheckConstraint(
                condition=Q(points__gt=0) & (Q(floor__isnull=True) | Q(floor__lte=F("points"))),
                name="position_floor_within_points",
                violation_error_message="The floor of a position cannot be more than its points.",
            ),
            models.CheckConstraint(
                condition=Q(step__in=[Decimal("0.5"), Decimal(1)]),
                name="position_step_known",
                violation_error_message="Points are given in whole or in half points.",
            ),
            models.CheckConstraint(
                condition=Exact(Mod("points", "step"), 0),
                name="position_points_on_step",
                violation_error_message="A position's points must be reachable in its own steps.",
            ),
            models.UniqueConstraint(
                fields=["profile"],
                condition=Q(by_weight=True),
                name="position_by_weight_once",
                violation_error_message="Only one position of a schedule takes its points from the weight table.",
            ),
        ]
        triggers = [kept_once_published()]

    def __str__(self):
        return f"{self.name} ({self.points:g})"


class AgeClass(models.Model):
    """An age class by whole months: from `from_months` up to, not including, `to_months`."""

    profile = models.ForeignKey(BreedProfile, models.CASCADE, related_name="age_classes")
    code = models.SlugField(max_length=20)
    name = models.CharField(max_length=40)
    from_months = models.PositiveSmallIntegerField(default=0)
    to_months = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta:
        ordering = ["from_months"]
        constraints = [
            models.UniqueConstraint(fields=["profile", "code"], name="age_class_once_in_profile"),
            models.CheckConstraint(
                condition=Q(to_months__isnull=True) | Q(to_months__gt=F("from_months")),
                name="age_class_months_in_order",
                violation_error_message="An age class must end after it starts.",
            ),
        ]
        triggers = [kept_once_published()]

    def __str__(self):
        return self.name


class WeightClass(models.Model):
    """The weights an age class may have, by sex, in grams."""

    age_class = models.ForeignKey(AgeClass, models.CASCADE, related_name="weights")
    sex = models.CharField(max_length=7, choices=Sex, blank=True, help_text="Empty: both.")
    lowest_grams = models.PositiveIntegerField(null=True, blank=True)
    ideal_grams = models.PositiveIntegerField(null=True, blank=True)
    highest_grams = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
        ordering = ["age_class", "sex"]
        constraints = [
            models.UniqueConstraint(fields=["age_class", "sex"], name="weight_class_once"),
            models.CheckConstraint(
                condition=Q(lowest_grams__isnull=True)
                | Q(highest_grams__isnull=True)
                | Q(lowest_grams__lt=F("highest_grams")),
                name="weight_class_in_order",
                violation_error_message="The lowest weight must be under the highest.",
            ),
        ]
        triggers = [kept_once_published(OF_ITS_CLASS)]

    def __str__(self):
        return f"{self.age_class} {self.sex}"


class ProfileTrait(models.Model):
    """A trait in a profile: its goal range, and the leeway that seniors get."""

    profile = models.ForeignKey(BreedProfile, models.CASCADE, related_name="traits")
    trait = models.ForeignKey(Trait, models.PROTECT, related_name="in_profiles")
    goal_low = models.PositiveSmallIntegerField(null=True, blank=True)
    goal_high = models.PositiveSmallIntegerField(null=True, blank=True)
    senior_low = models.PositiveSmallIntegerField(null=True, blank=True)
    senior_high = models.PositiveSmallIntegerField(null=True, blank=True)
    why = models.CharField(max_length=300, blank=True, help_text="What the standard wants, in words.")

    class Meta:
        ordering = ["trait__section", "trait__position"]
        constraints = [
            models.UniqueConstraint(fields=["profile", "trait"], name="trait_once_in_profile"),
            models.CheckConstraint(
                condition=Q(goal_low__isnull=True, goal_high__isnull=True)
                | Q(goal_low__lte=F("goal_high"), goal_high__lte=10),
                name="goal_range_in_order",
                violation_error_message="The goal range must lie on the scale, the lower step first.",
            ),
            models.CheckConstraint(
                condition=Q(senior_low__isnull=True, senior_high__isnull=True)
                | Q(senior_low__lte=F("senior_high"), senior_high__lte=10),
                name="senior_range_in_order",
                violation_error_message="The seniors' range must lie on the scale, the lower step first.",
            ),
        ]
        triggers = [goal_on_scale, kept_once_published()]

    def __str__(self):
        return f"{self.trait} in {self.profile}"

    def goal_for(self, age_class_code):
        """(low, high) of the goal for an age class, the seniors' leeway included; None without a goal."""
        if age_class_code == "senior" and self.senior_low is not None:
            return self.senior_low, self.senior_high
        return None if self.goal_low is None else (self.goal_low, self.goal_high)


class StepText(models.Model):
    """The words, and the club's own picture, of one step of a trait in a profile."""

    trait = models.ForeignKey(ProfileTrait, models.CASCADE, related_name="step_texts")
    step = models.PositiveSmallIntegerField()
    words = models.CharField(max_length=200)
    picture = models.FileField(upload_to="steps/", blank=True)

    class Meta:
        ordering = ["step"]
        constraints = [
            models.UniqueConstraint(fields=["trait", "step"], name="step_text_once"),
            models.CheckConstraint(condition=Q(step__lte=10), name="step_text_on_scale"),
        ]
        triggers = [step_text_in_scale, kept_once_published(OF_ITS_TRAIT)]

    def __str__(self):
        return f"{self.step}: {self.words}"


class FindingKind(models.Model):
    """Something that is seen, not seen or not checked."""

    code = models.SlugField(max_length=40, unique=True)
    name = models.CharField(max_length=60)
    section = models.PositiveSmallIntegerField()
    position = models.PositiveSmallIntegerField(default=0)
    places = ArrayField(models.CharField(max_length=20), default=list, blank=True)
    hint = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["section", "position", "code"]

    def __str__(self):
        return self.name


class ProfileFinding(models.Model):
    """What a finding means in a profile."""

    class Effect(models.TextChoices):
        NOTE = "note", "is noted"
        FAULT = "fault", "is a fault"
        DISQUALIFIES = "disqualifies", "disqualifies"

    profile = models.ForeignKey(BreedProfile, models.CASCADE, related_name="findings")
    kind = models.ForeignKey(FindingKind, models.PROTECT, related_name="in_profiles")
    effect = models.CharField(max_length=12, choices=Effect, default=Effect.NOTE)
    why = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["kind__section", "kind__position"]
        constraints = [models.UniqueConstraint(fields=["profile", "kind"], name="finding_once_in_profile")]
        triggers = [kept_once_published()]

    def __str__(self):
        return f"{self.kind} {self.get_effect_display()}"
