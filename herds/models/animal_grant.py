"""A grant for single animals: what an owner opens to a mentor who is asked about these and no others."""

from django.db import models
from django.db.models import F, Q

from .animal import Animal
from .herd import MEMBER, GrantQuerySet, Herd, Opened


class AnimalGrantQuerySet(GrantQuerySet):
    def running(self, on=None):
        """Grants that open an animal on that day (default today), as long as it stands in the herd that gave them."""
        return super().running(on).filter(animal__herd=F("herd"))


class AnimalGrant(Opened):
    """An owner opens one animal's photos to a mentor for a period, revocable at once.

    Its looks are opened too once the mentor has graded blind (`with_looks`).
    """

    animal = models.ForeignKey(Animal, models.CASCADE, related_name="grants")
    herd = models.ForeignKey(Herd, models.CASCADE, related_name="animal_grants")
    mentor = models.ForeignKey(MEMBER, models.PROTECT, related_name="animal_grants")
    with_looks = models.BooleanField("sees the looks", default=False)

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
