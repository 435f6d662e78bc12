"""Writing the points sheet beside a look, a line or the whole sheet at a time; nothing changes after the look's day."""

from django.core.exceptions import PermissionDenied

from clubsite.constraints import rules_explained
from grading.models import PointsLine, PointsSheet


def save_points(*, look, by, lines=(), note=None):
    """Save (position's key, points or None, note) lines, and the sheet's own note when it is given, all or nothing.

    A line without points and without a note is taken out, and so is a sheet with nothing on it.
    Raises ValidationError.
    """
    if look.observer_id != by.pk:
        raise PermissionDenied(f"Only {look.observer} may give points in this look.")
    with rules_explained():
        sheet, _ = PointsSheet.objects.select_for_update().get_or_create(look=look)
        if note is not None and note != sheet.note:
            sheet.note = note
            sheet.save(update_fields=["note"])
        said = [PointsLine(sheet=sheet, position_id=key, points=given, note=text) for key, given, text in lines
                if given is not None or text]  # fmt: skip
        PointsLine.objects.bulk_create(
            said,
            update_conflicts=True,
            unique_fields=["sheet", "position"],
            update_fields=["points", "note", "saved_at"],
        )
        emptied = {key for key, *_ in lines} - {line.position_id for line in said}
        sheet.lines.filter(position__in=emptied).delete()
        if not sheet.note and not sheet.lines.exists():
            sheet.delete()
