import pgtrigger
from django.db import models
from django.db.models import Q

from herds.models import Animal
from pedigrees.words import percent

# An animal with a parent unknown is not inbred as far as anybody can tell, so that its figure stands at once.
FIGURE_WANTED = """
    INSERT INTO pedigrees_inbreeding (animal_id, value, turn, computed_at)
    SELECT id, CASE WHEN sire_id IS NULL OR dam_id IS NULL THEN 0 END, 1,
           CASE WHEN sire_id IS NULL OR dam_id IS NULL THEN now() END
    FROM fresh ON CONFLICT DO NOTHING;
    RETURN NULL;
"""

# Changed parents change the figures of all descendants; none of them may be shown as current from this moment on.
FIGURES_DUE = """
    IF NOT EXISTS (SELECT 1 FROM after JOIN before ON before.id = after.id
                   WHERE (before.sire_id, before.dam_id) IS DISTINCT FROM (after.sire_id, after.dam_id)) THEN
        RETURN NULL;
    END IF;
    WITH RECURSIVE down(id) AS (
        SELECT after.id FROM after JOIN before ON before.id = after.id
        WHERE (before.sire_id, before.dam_id) IS DISTINCT FROM (after.sire_id, after.dam_id)
        UNION
        SELECT young.id FROM down CROSS JOIN LATERAL (
            SELECT id FROM herds_animal WHERE sire_id = down.id
            UNION ALL SELECT id FROM herds_animal WHERE dam_id = down.id) AS young)
    UPDATE pedigrees_inbreeding AS figure
    SET turn = turn + 1,
        value = CASE WHEN animal.sire_id IS NULL OR animal.dam_id IS NULL THEN 0 END,
        computed_at = CASE WHEN animal.sire_id IS NULL OR animal.dam_id IS NULL THEN now() END
    FROM down JOIN herds_animal AS animal ON animal.id = down.id
    WHERE figure.animal_id = down.id;
    RETURN NULL;
"""


class RegisteredAnimal(Animal):
    """The animal once more, so that this app's triggers may stand on its table; herds knows nothing of them."""

    class Meta:
        proxy = True
        triggers = [
            pgtrigger.Trigger(
                name="inbreeding_wanted",
                level=pgtrigger.Statement,
                when=pgtrigger.After,
                operation=pgtrigger.Insert,
                referencing=pgtrigger.Referencing(new="fresh"),
                func=FIGURE_WANTED,
            ),
            pgtrigger.Trigger(
                name="inbreeding_due",
                level=pgtrigger.Statement,
                when=pgtrigger.After,
                operation=pgtrigger.Update,
                referencing=pgtrigger.Referencing(old="before", new="after"),
                func=FIGURES_DUE,
            ),
        ]


class InbreedingQuerySet(models.QuerySet):
    def due(self):
        """Figures that the job still has to work out."""
        return self.filter(value__isnull=True)

    def current(self):
        return self.filter(value__isnull=False)


class Inbreeding(models.Model):
    """An animal's inbreeding from all that the registry knows of its ancestors; empty while it is being computed.

    Triggers put the row there with the animal, and empty it, and those of all descendants, when parents change. `turn`
    counts that: whoever computes writes only if the turn is still the one it began with.
    """

    animal = models.OneToOneField(Animal, models.CASCADE, primary_key=True, related_name="inbreeding_figure")
    value = models.FloatField(null=True, help_text="Wright's F, 0 to 1.")
    turn = models.PositiveIntegerField(default=1)
    computed_at = models.DateTimeField(null=True)

    objects = InbreedingQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(value__isnull=True) | Q(value__gte=0, value__lt=1), name="inbreeding_0_to_1"
            ),
            models.CheckConstraint(
                condition=Q(value__isnull=True, computed_at__isnull=True)
                | Q(value__isnull=False, computed_at__isnull=False),
                name="inbreeding_has_its_day",
            ),
        ]
        indexes = [models.Index(fields=["animal"], condition=Q(value__isnull=True), name="inbreeding_due_now")]

    def __str__(self):
        return percent(self.value)
