from django.conf import settings
from django.db import models
from django.db.models import Count, Exists, F, OuterRef, Prefetch, Q
from django.db.models.functions import Lower
from django.utils import timezone

from clubsite.versions import Versioned

MEMBER = settings.AUTH_USER_MODEL
SHARES = ("shares_looks", "shares_photos", "shares_litters", "shares_weights", "shares_outcomes", "shares_merits")


class HerdQuerySet(models.QuerySet):
    """Which herds a member may see and keep; every other queryset of the app asks here."""

    def visible_to(self, member):
        """Every herd's name, prefix and region is known to every active member."""
        return self.all() if member.is_authenticated and member.is_active else self.none()

    def kept_by(self, member):
        """Herds the member owns or co-owns today, and those of the youths they are guardian of."""
        if not (member.is_authenticated and member.is_active):
            return self.none()
        current = Ownership.objects.filter(herd=OuterRef("pk"), until__isnull=True)
        return self.filter(Exists(current.filter(Q(member=member) | Q(member__guardian=member))))

    editable_by = kept_by

    def granted_to(self, member, on=None):
        """Herds that a running mentor grant opens to the member."""
        if not (member.is_authenticated and member.is_active):
            return self.none()
        return self.filter(Exists(Grant.objects.running(on).filter(herd=OuterRef("pk"), mentor=member)))

    def with_grant_of(self, member):
        """Annotate `is_granted`: whether a running mentor grant opens the herd to the member."""
        return self.annotate(is_granted=Exists(Grant.objects.running().filter(herd=OuterRef("pk"), mentor=member.pk)))

    def with_owners(self):
        """Fetch today's owners with the herds, as `current_ownerships`."""
        current = Ownership.objects.filter(until__isnull=True).select_related("member").order_by("since", "pk")
        return self.prefetch_related(Prefetch("ownerships", queryset=current, to_attr="current_ownerships"))

    def with_counts(self, young_since):
        """Annotate animals in the herd: `here`, and of those `young` (born after a day), grown `bucks` and `does`."""
        here = Q(animals__status__in=["here", "on_loan"])
        young = here & Q(animals__born_on__gt=young_since)
        grown = here & (Q(animals__born_on__lte=young_since) | Q(animals__born_on__isnull=True))
        return self.annotate(
            here=Count("animals", filter=here),
            young=Count("animals", filter=young),
            bucks=Count("animals", filter=grown & Q(animals__sex="buck")),
            does=Count("animals", filter=grown & Q(animals__sex="doe")),
        )


class Herd(Versioned):
    """The animals that one or more members keep together. It shows a region, never an address."""

    name = models.CharField(max_length=80)
    slug = models.SlugField(max_length=80, unique=True)
    prefix = models.CharField(max_length=20, blank=True, help_text="Stands before the names of animals bred here.")
    region = models.CharField(max_length=80, blank=True, help_text="A district or county, never an address.")
    notes = models.TextField(blank=True)
    owners: models.ManyToManyField = models.ManyToManyField(
        MEMBER, through="Ownership", through_fields=("herd", "member"), related_name="herds"
    )
    made_at = models.DateTimeField(default=timezone.now, editable=False)
    closed_on = models.DateField(null=True, blank=True)

    shares_looks = models.BooleanField("share looks with the club", default=False)
    shares_photos = models.BooleanField("share photos with the club", default=False)
    shares_litters = models.BooleanField("share matings and litters with the club", default=False)
    shares_weights = models.BooleanField("share weights with the club", default=False)
    shares_outcomes = models.BooleanField("share what became of animals with the club", default=False)
    shares_merits = models.BooleanField("share merits with the club", default=False)

    objects = HerdQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                Lower("prefix"),
                condition=~Q(prefix=""),
                name="herd_prefix_once",
                violation_error_message="Another herd has this prefix. Choose a different one.",
            ),
        ]

    def __str__(self):
        return self.name

    def get_absolute_url(self):
        from django.urls import reverse

        return reverse("herd-detail", args=[self.slug])

    @property
    def owner_names(self):
        """Names of today's owners; ask for the herd `with_owners()` to spare a query."""
        rows = getattr(self, "current_ownerships", None)
        if rows is None:
            rows = self.ownerships.filter(until__isnull=True).select_related("member")
        return [str(row.member) for row in rows]


class Ownership(models.Model):
    """A member's share in a herd, from a day on, until they leave it."""

    herd = models.ForeignKey(Herd, models.CASCADE, related_name="ownerships")
    member = models.ForeignKey(MEMBER, models.PROTECT, related_name="ownerships")
    since = models.DateField(default=timezone.localdate)
    until = models.DateField(null=True, blank=True)
    added_by = models.ForeignKey(MEMBER, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["herd", "member"],
                condition=Q(until__isnull=True),
                name="ownership_once_at_a_time",
                violation_error_message="This member already co-owns the herd.",
            ),
            models.CheckConstraint(
                condition=Q(until__isnull=True) | Q(until__gte=F("since")), name="ownership_ends_after_start"
            ),
        ]

    def __str__(self):
        return f"{self.member} in {self.herd}"


class GrantQuerySet(models.QuerySet):
    """What an owner opened to a mentor: a herd, or single animals (models/animal_grant.py)."""

    def running(self, on=None):
        """Grants whose days run on that day (default today)."""
        day = on or timezone.localdate()
        return self.filter(
            starts_on__lte=day,
            ends_on__gte=day,
            revoked_at__isnull=True,
            mentor__is_active=True,
            mentor__guardian__isnull=True,
        )

    def visible_to(self, member):
        """Grants that the member gave for their herds, or was given."""
        return self.filter(Q(herd__in=Herd.objects.kept_by(member)) | Q(mentor=member.pk))

    def editable_by(self, member):
        return self.filter(herd__in=Herd.objects.kept_by(member))


class Opened(models.Model):
    """What every grant has: who gave it, for which days, and how it was revoked."""

    granted_by = models.ForeignKey(MEMBER, models.PROTECT, related_name="+")
    made_at = models.DateTimeField(default=timezone.now, editable=False)
    starts_on = models.DateField(default=timezone.localdate)
    ends_on = models.DateField()
    may_grade = models.BooleanField("may grade", default=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.ForeignKey(MEMBER, models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        abstract = True

    def is_running(self, on=None):
        """Whether its days run; `running()` also asks after the mentor, and where an animal stands."""
        day = on or timezone.localdate()
        return self.revoked_at is None and self.starts_on <= day <= self.ends_on


class Grant(Opened):
    """An owner opens a herd's looks and photos to a mentor for a period, revocable at once."""

    herd = models.ForeignKey(Herd, models.CASCADE, related_name="grants")
    mentor = models.ForeignKey(MEMBER, models.PROTECT, related_name="grants")
    with_log = models.BooleanField("may read matings, litters and weights", default=False)
    with_health = models.BooleanField("may read health notes", default=False)
    note = models.TextField(blank=True)

    objects = GrantQuerySet.as_manager()

    class Meta:
        ordering = ["-ends_on"]
        constraints = [
            models.CheckConstraint(
                condition=Q(ends_on__gte=F("starts_on")),
                name="grant_ends_after_start",
                violation_error_message="The grant ends before it starts. Choose a later end date.",
            ),
            models.CheckConstraint(
                condition=Q(revoked_at__isnull=True, revoked_by__isnull=True)
                | Q(revoked_at__isnull=False, revoked_by__isnull=False),
                name="grant_revoked_in_pair",
            ),
            models.CheckConstraint(
                condition=~Q(mentor=F("granted_by")),
                name="grant_to_another",
                violation_error_message="You cannot be mentor of your own herd. Choose another member.",
            ),
            models.UniqueConstraint(
                fields=["herd", "mentor"],
                condition=Q(revoked_at__isnull=True),
                name="grant_once_per_mentor",
                violation_error_message="This mentor already has a grant for the herd. Change its end date.",
            ),
        ]
        indexes = [models.Index(fields=["mentor", "ends_on"])]

    def __str__(self):
        return f"{self.mentor} for {self.herd}"
