"""A season's plan for a whole herd: what its mentor proposes, item by item, and what the owner answers to each."""

from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from clubsite.versions import Versioned
from herds.models import Animal, Decision, Herd
from pedigrees.models import PlannedMating

MEMBER = "members.Member"


class Aim(models.TextChoices):
    """What is to be done; `bring_in` and `other` may stand without an animal."""

    MATE = "mate", "mate"
    KEEP = "keep", "keep"
    GROW_ON = "grow_on", "grow on"
    LET_GO = "let_go", "let go"
    LOOK = "look", "look at again"
    BRING_IN = "bring_in", "bring in from outside"
    OTHER = "other", "something else"


ABOUT_ONE = (Aim.KEEP, Aim.GROW_ON, Aim.LET_GO, Aim.LOOK)


class ItemState(models.TextChoices):
    PROPOSED = "proposed", "waits for the owner"
    ACCEPTED = "accepted", "accepted"
    DECLINED = "declined", "declined"
    WITHDRAWN = "withdrawn", "taken back"


class SeasonItemQuerySet(models.QuerySet):
    def visible_to(self, member):
        """The plans of the member's own herds, and of those that a running grant opens to them."""
        herds = Herd.objects.kept_by(member).values("pk"), Herd.objects.granted_to(member).values("pk")
        return self.filter(Q(herd__in=herds[0]) | Q(herd__in=herds[1]))

    def editable_by(self, member):
        """What the member proposed and the owner has not answered, while the grant runs."""
        granted = Herd.objects.granted_to(member).values("pk")
        return self.filter(state=ItemState.PROPOSED, written_by=member.pk, herd__in=granted)

    def answerable_by(self, member):
        """What waits for an owner's answer."""
        return self.filter(state=ItemState.PROPOSED, herd__in=Herd.objects.kept_by(member))


class SeasonItem(Versioned):
    """One thing a mentor proposes to a herd for a season. Its writer edits it until an owner answers it."""

    herd = models.ForeignKey(Herd, models.CASCADE, related_name="season_items")
    season = models.PositiveSmallIntegerField(help_text="The year in which the kits are to be born.")
    aim = models.CharField(max_length=8, choices=Aim)
    animal = models.ForeignKey(
        Animal, models.CASCADE, null=True, blank=True, related_name="+", help_text="The doe, where it is a mating."
    )
    buck = models.ForeignKey(Animal, models.CASCADE, null=True, blank=True, related_name="+")
    why = models.CharField("because", max_length=500)
    written_by = models.ForeignKey(MEMBER, models.PROTECT, related_name="season_items")
    written_at = models.DateTimeField(default=timezone.now, editable=False)
    state = models.CharField(max_length=9, choices=ItemState, default=ItemState.PROPOSED)
    answer = models.CharField(max_length=300, blank=True)
    answered_by = models.ForeignKey(MEMBER, models.PROTECT, null=True, blank=True, related_name="+")
    answered_at = models.DateTimeField(null=True, blank=True)
    mating = models.ForeignKey(PlannedMating, models.SET_NULL, null=True, blank=True, related_name="+")
    decision = models.ForeignKey(Decision, models.SET_NULL, null=True, blank=True, related_name="+")

    objects = SeasonItemQuerySet.as_manager()

    class Meta:
        ordering = ["-season", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(aim__in=Aim.values), name="season_item_aim_known"),
            models.CheckConstraint(condition=Q(state__in=ItemState.values), name="season_item_state_known"),
            models.CheckConstraint(
                condition=Q(season__gte=1900, season__lte=2200),
                name="season_item_in_a_year",
                violation_error_message="Give the season as a year of four digits.",
            ),
            models.CheckConstraint(
                condition=~Q(why=""),
                name="season_item_has_reason",
                violation_error_message="Say why: the owner decides by the reason.",
            ),
            models.CheckConstraint(
                condition=Q(aim=Aim.MATE, animal__isnull=False, buck__isnull=False)
                | (~Q(aim=Aim.MATE) & Q(buck__isnull=True)),
                name="season_item_mating_of_two",
                violation_error_message="Choose a doe and a buck.",
            ),
            models.CheckConstraint(
                condition=~Q(aim__in=ABOUT_ONE) | Q(animal__isnull=False),
                name="season_item_about_an_animal",
                violation_error_message="Choose the animal.",
            ),
            models.CheckConstraint(
                condition=Q(buck__isnull=True) | ~Q(buck=F("animal")), name="season_item_of_two_animals"
            ),
            models.CheckConstraint(
                condition=Q(state__in=["accepted", "declined"], answered_at__isnull=False, answered_by__isnull=False)
                | (
                    Q(answered_at__isnull=True, answered_by__isnull=True, answer="")
                    & ~Q(state__in=["accepted", "declined"])
                ),
                name="season_item_answered_in_full",
            ),
            models.UniqueConstraint(
                fields=["herd", "season", "animal", "buck"],
                condition=Q(state="proposed", aim="mate"),
                name="season_mating_proposed_once",
                violation_error_message="This mating is proposed for the season already.",
            ),
            models.UniqueConstraint(
                fields=["herd", "season", "aim", "animal"],
                condition=Q(state="proposed", aim__in=["keep", "grow_on", "let_go", "look"]),
                name="season_item_proposed_once",
                violation_error_message="This is proposed for the season already.",
            ),
        ]
        indexes = [models.Index(fields=["herd", "state"])]

    def __str__(self):
        """'mate A2 with A1', 'let go: A7', 'bring in from outside'."""
        if self.aim == Aim.MATE:
            return f"mate {self.animal} with {self.buck}"
        return f"{self.get_aim_display()}: {self.animal}" if self.animal_id else self.get_aim_display()
