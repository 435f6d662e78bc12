from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.expressions import RawSQL
from django.db.models.functions import Lower
from django.utils import timezone

from clubsite.versions import Versioned

from .animal import Animal
from .herd import Herd

MEMBER = settings.AUTH_USER_MODEL


class LineRule(models.TextChoices):
    """Through which parents a line goes on from its foundation."""

    BUCKS = "bucks", "through bucks only"
    DOES = "does", "through does only"
    ALL = "all", "through all parents"
    CHOSEN = "chosen", "through parents that I choose"
    BY_HAND = "by_hand", "no descent: I choose every animal"


class LinePart(models.TextChoices):
    """What an animal is to a line that names it."""

    ADDED = "added", "belongs to it, added by hand"
    PASSES_ON = "passes_on", "passes the line on"
    LEFT_OUT = "left_out", "left out, with what descends through it"


# UNION keeps each animal once, so the walk ends even if a pedigree had a loop; every step is two index look-ups.
# The foundation passes the line on whatever its sex. %(within)s narrows the animals that are walked through.
MEMBERS = """
    WITH RECURSIVE down (line, rule, foundation, animal) AS (
        SELECT l.id, l.rule, l.foundation_id, l.foundation_id FROM herds_line l
        WHERE l.foundation_id IS NOT NULL AND %(which)s
        UNION
        SELECT d.line, d.rule, d.foundation, kit.id
        FROM down d
        JOIN LATERAL (
            SELECT a.id, true AS by_sire FROM herds_animal a WHERE a.sire_id = d.animal
            UNION ALL
            SELECT a.id, false FROM herds_animal a WHERE a.dam_id = d.animal) kit ON true
        WHERE (d.animal = d.foundation OR d.rule = 'all'
               OR (d.rule = 'bucks' AND kit.by_sire) OR (d.rule = 'does' AND NOT kit.by_sire)
               OR (d.rule = 'chosen' AND EXISTS (
                   SELECT 1 FROM herds_lineanimal x
                   WHERE x.line_id = d.line AND x.animal_id = d.animal AND x.part = 'passes_on')))
          AND NOT EXISTS (
              SELECT 1 FROM herds_lineanimal x
              WHERE x.line_id = d.line AND x.animal_id = kit.id AND x.part = 'left_out')
          %(within)s)
    SELECT line, animal FROM down
    UNION
    SELECT x.line_id, x.animal_id FROM herds_lineanimal x WHERE x.part = 'added' AND %(added)s
"""
MEMBERS_SQL = MEMBERS % {"which": "l.id = ANY (%s)", "added": "x.line_id = ANY (%s)", "within": ""}
UPWARDS = """
    WITH RECURSIVE up (id) AS (
        SELECT %s::bigint
        UNION
        SELECT parent.id FROM up JOIN herds_animal a ON a.id = up.id
        JOIN LATERAL (VALUES (a.sire_id), (a.dam_id)) parent (id) ON parent.id IS NOT NULL)
    SELECT id FROM up
"""
FAMILY = {
    "which": "l.foundation_id IN (SELECT id FROM family)",
    "added": "x.animal_id IN (SELECT id FROM family)",
    "within": "AND kit.id IN (SELECT id FROM family)",
}
LINES_OF_SQL = (
    f"WITH family AS MATERIALIZED ({UPWARDS}), belongs (line, animal) AS ({MEMBERS % FAMILY}) "
    "SELECT line FROM belongs WHERE animal = %s"
)


class LineQuerySet(models.QuerySet):
    """A line is its maker's, and the herd's for which they made it; the club sees it when it is shared."""

    def editable_by(self, member):
        if not (member.is_authenticated and member.is_active):
            return self.none()
        own = Q(owner=member) | Q(owner__guardian=member)
        return self.filter(own | Q(herd__in=Herd.objects.kept_by(member)))

    def visible_to(self, member):
        if not (member.is_authenticated and member.is_active):
            return self.none()
        own = Q(owner=member) | Q(owner__guardian=member)
        return self.filter(own | Q(herd__in=Herd.objects.kept_by(member)) | Q(shared=True))

    def with_animal(self, animal):
        """The lines of this queryset to which an animal belongs; walks only through its own ancestors. One query."""
        return self.filter(pk__in=RawSQL(LINES_OF_SQL, [animal.pk, animal.pk]))  # noqa: S611 - no text of people


class Line(Versioned):
    """The animals that descend from one foundation through chosen parents, or that a member gathers by hand."""

    name = models.CharField(max_length=80)
    foundation = models.ForeignKey(
        Animal, models.PROTECT, null=True, blank=True, related_name="founded_lines",
        help_text="The animal that the line goes back to.",
    )  # fmt: skip
    rule = models.CharField("how it goes on", max_length=7, choices=LineRule, default=LineRule.BUCKS)
    note = models.TextField(blank=True)
    owner = models.ForeignKey(MEMBER, models.PROTECT, related_name="lines", editable=False)
    herd = models.ForeignKey(
        Herd, models.SET_NULL, null=True, blank=True, related_name="lines",
        help_text="Its keepers may change the line too.",
    )  # fmt: skip
    shared = models.BooleanField("shared with the club", default=False)
    made_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = LineQuerySet.as_manager()

    class Meta:
        ordering = [Lower("name"), "pk"]
        constraints = [
            models.UniqueConstraint(
                "owner",
                Lower("name"),
                name="line_name_once",
                violation_error_message="You already have a line of this name. Choose another name.",
            ),
            models.CheckConstraint(
                condition=Q(rule="by_hand", foundation__isnull=True)
                | (~Q(rule="by_hand") & Q(foundation__isnull=False)),
                name="line_founded_or_by_hand",
                violation_error_message="A line by descent needs its foundation animal; one by hand has none.",
            ),
            models.CheckConstraint(condition=Q(rule__in=LineRule.values), name="line_rule_known"),
            models.CheckConstraint(
                condition=~Q(name=""), name="line_has_name", violation_error_message="Give the line a name."
            ),
        ]

    def __str__(self):
        return self.name

    def get_absolute_url(self):
        from django.urls import reverse

        return reverse("line-detail", args=[self.pk])

    def members(self):
        """The animals of the line."""
        one = f"SELECT animal FROM ({MEMBERS_SQL}) m"
        return Animal.objects.filter(pk__in=RawSQL(one, [[self.pk], [self.pk]]))  # noqa: S611 - no text of people in it


class LineAnimal(models.Model):
    """An animal that a line names: added by hand, chosen to pass it on, or left out."""

    line = models.ForeignKey(Line, models.CASCADE, related_name="named_animals")
    animal = models.ForeignKey(Animal, models.CASCADE, related_name="named_in_lines")
    part = models.CharField(max_length=9, choices=LinePart)

    class Meta:
        ordering = ["line", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["line", "animal"], name="line_names_animal_once"),
            models.CheckConstraint(condition=Q(part__in=LinePart.values), name="line_part_known"),
        ]

    def __str__(self):
        return f"{self.animal} in {self.line}: {self.get_part_display()}"
