"""The points sheet beside a look: the schedule's positions with what was given for them."""

import pgtrigger
from django.db import models
from django.db.models import Q
from django.utils import timezone

from clubsite.constraints import sentence

from .editions import REFUSE
from .look import DAY_IS_OVER, Look
from .profile import Position

sentence("points_in_hand_only", "Points are given with the animal in hand. A photo shows neither fur nor flesh.")
sentence("points_within_position", "This position has fewer points. Give 0 up to its points.", "points")
sentence("points_on_step", "This position is not given in such small steps. Use its step.", "points")
sentence("points_of_this_edition", "This position belongs to another schedule. Open the points sheet again.")
sentence("points_in_parts", "The points of this position are the sum of its parts. Give points to the parts.", "points")
sentence(
    "points_by_weight", "The points for weight come from the weight table. Enter the weight in the look.", "points"
)

SHEET_ALLOWED = (
    DAY_IS_OVER.format(row="NEW")
    + f"""
    IF EXISTS (SELECT 1 FROM grading_look l WHERE l.id = NEW.look_id AND l.mode = 'photo') THEN
        {REFUSE.format(name="points_in_hand_only")}
    END IF;
    RETURN NEW;
"""
)

LINE_ALLOWED = f"""
    DECLARE place grading_position; edition bigint;
    BEGIN
    {DAY_IS_OVER.format(row="NEW").replace("look_id", "sheet_id")}
    SELECT * INTO place FROM grading_position WHERE id = NEW.position_id;
    SELECT profile_id INTO edition FROM grading_look WHERE id = NEW.sheet_id;
    IF place.profile_id <> edition THEN {REFUSE.format(name="points_of_this_edition")} END IF;
    IF place.by_weight THEN {REFUSE.format(name="points_by_weight")} END IF;
    IF EXISTS (SELECT 1 FROM grading_position p WHERE p.parent_id = place.id) THEN
        {REFUSE.format(name="points_in_parts")}
    END IF;
    IF NEW.points < 0 OR NEW.points > place.points THEN {REFUSE.format(name="points_within_position")} END IF;
    IF mod(NEW.points, place.step) <> 0 THEN {REFUSE.format(name="points_on_step")} END IF;
    RETURN NEW;
    END;
"""


class PointsSheet(models.Model):
    """The points given in a look, by the positions of the look's edition; kept with the look after its day."""

    look = models.OneToOneField(Look, models.CASCADE, primary_key=True, related_name="points_sheet")
    note = models.TextField(blank=True)
    begun_at = models.DateTimeField(default=timezone.now)

    class Meta:
        triggers = [
            pgtrigger.Trigger(
                name="sheet_allowed",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.Update,
                func=SHEET_ALLOWED,
            ),
            pgtrigger.Trigger(
                name="sheet_kept",
                when=pgtrigger.Before,
                operation=pgtrigger.Delete,
                func=DAY_IS_OVER.format(row="OLD") + " RETURN OLD;",
            ),
        ]

    def __str__(self):
        return f"points of the {self.look}"


class PointsLine(models.Model):
    """What was given for one position, or a note about it, or both."""

    sheet = models.ForeignKey(PointsSheet, models.CASCADE, related_name="lines")
    position = models.ForeignKey(Position, models.PROTECT, related_name="lines")
    points = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)
    saved_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["position__position", "position"]
        constraints = [
            models.UniqueConstraint(fields=["sheet", "position"], name="points_line_once"),
            models.CheckConstraint(
                condition=Q(points__isnull=False) | ~Q(note=""),
                name="points_line_says_something",
                violation_error_message="Give points or a note.",
            ),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="line_allowed",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.Update,
                func=LINE_ALLOWED,
            ),
            pgtrigger.Trigger(
                name="line_kept",
                when=pgtrigger.Before,
                operation=pgtrigger.Delete,
                func=DAY_IS_OVER.format(row="OLD").replace("look_id", "sheet_id") + " RETURN OLD;",
            ),
        ]

    def __str__(self):
        return f"{self.position.name}: {self.points}"
