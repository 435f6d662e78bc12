"""A grant for single animals: what an owner opens to a mentor who is asked about these and no others."""

from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from .animal import Animal
from .herd import MEMBER, Herd


class AnimalGrantQuerySet(models.QuerySet):
    def running(self, on=None):
        """Grants that open an animal on that day (default today), as long as it stands in the herd that gave them."""
        day = on or timezone.localdate()
        return self.filter(
            starts_on__lte=day,
            ends_on__gte=day,
            revoked_at__isnull=True,
            mentor__is_active=True,
            mentor__guardian__isnull=True,
            animal__herd=F("herd"),
        )

    def visible_to(self, member):
        """Grants that the member gave for their herds, or was given."""
        return self.filter(Q(herd__in=Herd.objects.kept_by(member)) | Q(mentor=member.pk))

    def editable_by(self, member):
        return self.filter(herd__in=Herd.objects.kept_by(member))


class AnimalGrant(models.Model):
    """An owner opens one animal's photos to a mentor for a period, revocable at once.

    Its looks are opened too once the mentor has graded blind (`with_looks`).
    """

    animal = models.ForeignKey(Animal, models.CASCADE, related_name="grants")
    herd = models.ForeignKey(Herd, models.CASCADE, related_name="animal_grants")
    mentor = models.ForeignKey(MEMBER, models.PROTECT, related_name="animal_grants")
    granted_by = models.ForeignKey(MEMBER, models.PROTECT, related_name="+")
    made_at = models.DateTimeField(default=timezone.now, editable=False)
    starts_on = models.DateField(default=timezone.localdate)
    ends_on = models.DateField()
    may_grade = models.BooleanField("may grade", default=True)
    with_looks = models.BooleanField("sees the looks", default=False)
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.ForeignKey(MEMBER, models.PROTECT, null=True, blank=True, related_name="+")

    objects = AnimalGrantQuerySet.as_manager()

    class Meta:
        ordering = ["-ends_on", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(ends_on__gte=F("starts_on")),
                name="animal_grant_ends_after_start",
                violation_error_message="The grant ends before it starts. Choose a later end date.",
            ),
            models.CheckConstraint(
                condition=Q(revoked_at__isnull=True, revoked_by__isnull=True)
                | Q(revoked_at__isnull=False, revoked_by__isnull=False),
                name="animal_grant_revoked_in_pair",
            ),
            models.CheckConstraint(
                condition=~Q(mentor=F("granted_by")),
                name="animal_grant_to_another",
                violation_error_message="You cannot be mentor of your own animal. Choose another member.",
            ),
            models.UniqueConstraint(
                fields=["animal", "mentor"],
                condition=Q(revoked_at__isnull=True),
                name="animal_grant_once",
                violation_error_message="This animal is open to this mentor already. Change the end date.",
            ),
        ]
        indexes = [models.Index(fields=["mentor", "ends_on"])]

    def __str__(self):
        return f"{self.mentor} for {self.animal}"

    def is_running(self, on=None):
        """Whether its days run; the animal may have left the herd meanwhile, which `running()` asks too."""
        day = on or timezone.localdate()
        return self.revoked_at is None and self.starts_on <= day <= self.ends_on
