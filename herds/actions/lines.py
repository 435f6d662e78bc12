"""Lines: made, changed and taken away by their maker and by the keepers of the herd they were made for."""

from django.core.exceptions import ValidationError

from clubsite.constraints import rules_explained
from clubsite.errors import NotYours
from herds.finding import one_space
from herds.models import Herd, Line, LineAnimal, LinePart, LineRule


def create_line(*, by, name, rule, foundation=None, herd=None, shared=False, note=""):
    """A new line of `by`; one by hand has no foundation, whatever was typed."""
    with rules_explained():
        line = Line(owner=by, name=one_space(name), rule=rule, herd=herd, shared=shared, note=note.strip())
        line.foundation = _foundation(rule, foundation)
        _may_be_for(herd, by)
        line.full_clean()
        line.save()
    return line


def change_line(*, line, version, by, name, rule, foundation=None, herd=None, shared=False, note=""):
    """Change what a line is; raises StalePage when somebody else was first."""
    with rules_explained():
        before = editable_line(line.pk, by)
        line.name, line.rule, line.note = one_space(name), rule, note.strip()
        line.foundation, line.shared = _foundation(rule, foundation), shared
        if herd != before.herd:
            _may_be_for(herd, by)
        line.herd = herd
        line.full_clean()
        line.save_version(version, ["name", "rule", "note", "foundation", "shared", "herd"])
    return line


def delete_line(*, line, by):
    """Take a line away for good; its animals and their looks stay as they are."""
    editable_line(line.pk, by).delete()


def name_animal(*, line, animal, part, by):
    """Say what an animal is to the line; an earlier word about it is replaced."""
    with rules_explained():
        line = editable_line(line.pk, by)
        if part == LinePart.LEFT_OUT and animal.pk == line.foundation_id:
            raise ValidationError(
                {"animal": f"{animal} is the foundation of the line. Choose another foundation instead."}
            )
        if part not in parts_of(line):
            raise ValidationError({"part": "This line does not ask who passes it on. Change how it goes on first."})
        named, _ = LineAnimal.objects.update_or_create(line=line, animal=animal, defaults={"part": part})
    return named


def unname_animal(*, line, animal, by):
    """Take back what was said of an animal; returns what it was, or None when nothing was said."""
    named = LineAnimal.objects.filter(line=editable_line(line.pk, by), animal=animal).first()
    if named is not None:
        named.delete()
    return named and named.part


def parts_of(line):
    """What may be said of an animal in this line: who passes on is asked only where parents are chosen."""
    if line.rule == LineRule.BY_HAND:
        return [LinePart.ADDED]
    if line.rule == LineRule.CHOSEN:
        return list(LinePart)
    return [LinePart.ADDED, LinePart.LEFT_OUT]


def editable_line(pk, by):
    line = Line.objects.editable_by(by).select_related("herd", "foundation").filter(pk=pk).first()
    if line is None:
        raise NotYours
    return line


def _foundation(rule, foundation):
    if rule == LineRule.BY_HAND:
        return None
    if foundation is None:
        raise ValidationError({"foundation": "Name the animal that the line goes back to, or choose a line by hand."})
    return foundation


def _may_be_for(herd, by):
    if herd is not None and not Herd.objects.kept_by(by).filter(pk=herd.pk).exists():
        raise ValidationError({"herd": "A line is made for a herd of your own. Choose one of yours, or none."})
