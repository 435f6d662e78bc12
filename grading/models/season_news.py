"""Who is to hear by e-mail that something was proposed for a season, or that a proposal was answered."""

from django.db import models
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone

from herds.models import Grant, Ownership

from .season import MEMBER, ItemState, SeasonItem

ANSWERED_STATES = (ItemState.ACCEPTED, ItemState.DECLINED)


class SeasonNewsQuerySet(models.QuerySet):
    def standing(self):
        """News that still hold: proposals that wait, to the herd's keepers; answers, to who may read them.

        Whoever may not open the plan any more is told nothing of it.
        """
        herd, member = OuterRef("item__herd"), OuterRef("member")
        theirs = Q(member=member) | Q(member__guardian=member)
        keeps = Ownership.objects.filter(theirs, herd=herd, until__isnull=True)
        opened = Grant.objects.running().filter(herd=herd, mentor=member)
        kind = SeasonNews.Kind
        waits = Q(kind=kind.PROPOSED, item__state=ItemState.PROPOSED) & Q(Exists(keeps))
        answered = Q(kind=kind.ANSWERED, item__state__in=ANSWERED_STATES) & (Q(Exists(opened)) | Q(Exists(keeps)))
        return self.filter(waits | answered)


class SeasonNews(models.Model):
    """That a member is to hear of an item of a season's plan by e-mail; the letter tells no content."""

    class Kind(models.TextChoices):
        PROPOSED = "proposed", "something is proposed for a season of your herd"
        ANSWERED = "answered", "something that you proposed is answered"

    member = models.ForeignKey(MEMBER, models.CASCADE, related_name="+")
    item = models.ForeignKey(SeasonItem, models.CASCADE, related_name="news")
    kind = models.CharField(max_length=8, choices=Kind)
    at = models.DateTimeField(default=timezone.now)
    mailed_at = models.DateTimeField(null=True, blank=True)
    seen_at = models.DateTimeField(null=True, blank=True)

    objects = SeasonNewsQuerySet.as_manager()

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=["proposed", "answered"]), name="season_news_kind_known"),
        ]
        indexes = [models.Index(fields=["member", "mailed_at"])]

    def __str__(self):
        return f"{self.get_kind_display()}, {self.member}"
