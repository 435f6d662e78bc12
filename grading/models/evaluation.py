from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from herds.models import Animal, AnimalGrant, Breed, Grant, Herd

from .profile import Trait


class RunState(models.TextChoices):
    QUEUED = "queued", "waits its turn"
    RUNNING = "running", "is running"
    DONE = "done", "done"
    FAILED = "failed", "failed"
    STOPPED = "stopped", "stopped"


OPEN_STATES = (RunState.QUEUED, RunState.RUNNING)


class EvaluationRunQuerySet(models.QuerySet):
    def visible_to(self, member):
        """Officers see every run; members those that are done, since their pages stand on them."""
        if not (member.is_authenticated and member.is_active):
            return self.none()
        return self.all() if member.is_officer else self.filter(state=RunState.DONE)

    def editable_by(self, member):
        return self.all() if getattr(member, "is_officer", False) and member.is_active else self.none()

    def open(self):
        return self.filter(state__in=OPEN_STATES)


class EvaluationRun(models.Model):
    """One run of the mixed model over a breed: what went in, how it went, and when. The last good one stays visible."""

    breed = models.ForeignKey(Breed, models.CASCADE, related_name="evaluation_runs")
    state = models.CharField(max_length=8, choices=RunState, default=RunState.QUEUED)
    asked_by = models.ForeignKey("members.Member", models.PROTECT, null=True, related_name="+")
    asked_at = models.DateTimeField(default=timezone.now)
    began_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True)
    only = models.ForeignKey(Trait, models.CASCADE, null=True, related_name="+", help_text="Empty: every trait.")
    method = models.CharField(max_length=40)
    inputs = models.CharField(max_length=64, blank=True, help_text="A digest of the looks and parents that went in.")
    counts = models.JSONField(default=dict, help_text="Animals, looks, graders, herds, years that went in.")
    warnings = models.JSONField(default=list)
    problem = models.TextField(blank=True, help_text="Why it failed, in a sentence.")
    done_share = models.FloatField(default=0)
    at_work = models.CharField(max_length=120, blank=True)
    stop_asked = models.BooleanField(default=False)
    together = models.JSONField(default=dict, help_text="Surface shade and undercolor as a pair.")

    objects = EvaluationRunQuerySet.as_manager()

    class Meta:
        ordering = ["-asked_at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(state__in=RunState.values), name="evaluation_state_known"),
            models.CheckConstraint(condition=Q(done_share__gte=0, done_share__lte=1), name="evaluation_share_0_to_1"),
            models.CheckConstraint(
                condition=~Q(state=RunState.FAILED) | ~Q(problem=""), name="evaluation_failed_says_why"
            ),
            models.CheckConstraint(
                condition=Q(state__in=OPEN_STATES, ended_at__isnull=True)
                | (~Q(state__in=OPEN_STATES) & Q(ended_at__isnull=False)),
                name="evaluation_ended_when_over",
            ),
            models.UniqueConstraint(
                fields=["breed"],
                condition=Q(state__in=OPEN_STATES),
                name="evaluation_one_at_a_time",
                violation_error_message="An evaluation of this breed is under way. Wait for its end, or stop it.",
            ),
        ]

    def __str__(self):
        return f"{self.breed}, {timezone.localtime(self.asked_at):%Y-%m-%d %H:%M}"

    def get_absolute_url(self):
        from django.urls import reverse

        return reverse("evaluation-detail", args=[self.pk])

    @property
    def is_open(self):
        return self.state in OPEN_STATES


class TraitEvaluationQuerySet(models.QuerySet):
    def current(self, breed):
        """The last good evaluation of every trait of a breed."""
        done = self.filter(run__breed=breed, run__state=RunState.DONE, refused="")
        return done.order_by("trait_id", "-run__ended_at", "-pk").distinct("trait_id")


class TraitEvaluation(models.Model):
    """What a run found of one trait: variances, fixed effects, trend and what has to be said beside them."""

    run = models.ForeignKey(EvaluationRun, models.CASCADE, related_name="traits")
    trait = models.ForeignKey(Trait, models.PROTECT, related_name="evaluations")
    looks = models.PositiveIntegerField(default=0)
    animals = models.PositiveIntegerField(default=0)
    graders = models.PositiveIntegerField(default=0)
    herds = models.PositiveIntegerField(default=0)
    refused = models.TextField(blank=True, help_text="Why nothing could be estimated, in a sentence.")
    mean = models.FloatField(null=True, help_text="Mean of all looks, in steps; merits count from the founders' mean.")
    base = models.FloatField(null=True, help_text="The step of an animal of merit 0 under average conditions.")
    variances = models.JSONField(default=dict)
    errors = models.JSONField(default=dict)
    heritability = models.FloatField(null=True)
    heritability_low = models.FloatField(null=True)
    heritability_high = models.FloatField(null=True)
    repeatability = models.FloatField(null=True)
    converged = models.BooleanField(default=False)
    rounds = models.PositiveIntegerField(default=0)
    reliability_is_exact = models.BooleanField(default=True)
    fixed = models.JSONField(default=dict, help_text="{effect: {level: [steps, looks]}}")
    trend = models.JSONField(default=dict)
    connections = models.JSONField(default=dict)
    warnings = models.JSONField(default=list)

    objects = TraitEvaluationQuerySet.as_manager()

    class Meta:
        ordering = ["trait__section", "trait__position"]
        constraints = [
            models.UniqueConstraint(fields=["run", "trait"], name="trait_evaluation_once_in_run"),
            models.CheckConstraint(
                condition=Q(heritability__isnull=True)
                | Q(heritability__gte=0, heritability__lte=1, heritability_low__lte=F("heritability_high")),
                name="trait_evaluation_heritability",
            ),
        ]

    def __str__(self):
        return f"{self.trait}: {self.run}"


class MeritQuerySet(models.QuerySet):
    def visible_to(self, member):
        """Merits of the member's herds, of herds open to them, and of herds that share merits with the club.

        Those of animals in no herd of the club are everybody's: they say of a herd what its sharing does not let out
        only through its progeny, of which pages hold small groups back.
        """
        if not (member.is_authenticated and member.is_active):
            return self.none()
        granted = Grant.objects.running().filter(mentor=member.pk).values("herd")
        singly = AnimalGrant.objects.running().filter(mentor=member.pk, with_looks=True).values("animal")
        return self.filter(
            Q(animal__herd__in=Herd.objects.kept_by(member))
            | Q(animal__herd__in=granted)
            | Q(animal__in=singly)
            | Q(animal__herd__shares_merits=True)
            | Q(animal__herd__isnull=True)
        )


class Merit(models.Model):
    """An animal's estimated breeding value (EBV) for a trait, in steps, and how reliable it is."""

    evaluation = models.ForeignKey(TraitEvaluation, models.CASCADE, related_name="merits")
    animal = models.ForeignKey(Animal, models.CASCADE, related_name="merits")
    value = models.FloatField()
    reliability = models.FloatField()

    objects = MeritQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["animal", "evaluation"], name="merit_once"),
            models.CheckConstraint(condition=Q(reliability__gte=0, reliability__lt=1), name="merit_reliability_0_to_1"),
        ]

    def __str__(self):
        return f"{self.value:+.2f}"
