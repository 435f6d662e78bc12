"""Reading finished looks: the one before, the sheet in words, what a member may read of it, who is next."""

from datetime import timedelta

from django.db.models import Exists, OuterRef, Q
from django.utils import timezone

from herds.models import Animal, AnimalGrant, Grant, Herd
from herds.words import age_words, day_words

from .look_changes import step_words
from .look_plots import time_plot
from .look_sheet import SECTIONS, field_name, kind_of
from .models import Look, LookFinding, ProfileTrait

POINTS_SHOWN = 60
RAMPS = {"surface": "shade", "under": "under", "cast": "cast"}
COLUMNS = ["Day", "Age", "Surface", "Undercolor", "Reach, tenths"]


def earlier_look(look, member):
    """The last finished, not superseded look of the animal before this one that the member may see; or None."""
    before = Q(observed_on__lt=look.observed_on) | Q(observed_on=look.observed_on, pk__lt=look.pk)
    looks = Look.objects.visible_to(member).current().filter(before, animal=look.animal_id)
    if look.supersedes_id:
        looks = looks.exclude(pk=look.supersedes_id)
    return looks.select_related("observer").first()


def goals_of(profile_id, age_class_code):
    """(low, high) of the goal by summary column, for an age class. One query."""
    rows = ProfileTrait.objects.filter(profile=profile_id).exclude(trait__summary="").select_related("trait")
    return {row.trait.summary: goal for row in rows if (goal := row.goal_for(age_class_code))}


def with_access(looks, member):
    """Annotate what of a look its herd's owner opens to the member: `kept`, `granted` and `log_granted`."""
    grants = Grant.objects.running().filter(mentor=member.pk, herd=OuterRef("animal__herd"))
    singly = AnimalGrant.objects.running().filter(mentor=member.pk, with_looks=True, animal=OuterRef("animal"))
    return looks.annotate(
        kept=Exists(Herd.objects.kept_by(member).filter(pk=OuterRef("animal__herd"))),
        granted=Exists(grants) | Exists(singly),
        log_granted=Exists(grants.filter(with_log=True)),
    )


def may_read_note(look, member):
    """A look's note is between its observer, the keeper and the mentors of the herd."""
    return look.kept or look.granted or look.observer_id == member.pk


def may_read_weight(look, member):
    """A weight follows the herd's log: the keeper's, the observer's, and theirs to whom the log is open."""
    shared = look.animal.herd is not None and look.animal.herd.shares_weights
    return look.kept or look.log_granted or shared or look.observer_id == member.pk


def sheet_in_words(sheet):
    """Per section its answered traits and its findings, as rows for a table; sections with nothing are left out."""
    sections = []
    for section in SECTIONS.values():
        rows = [row for each in sheet.rows if each.trait.section == section.number for row in rows_of(sheet, each)]
        found = [each for each in sheet.findings(section.number) if each["state"] != LookFinding.State.NOT_CHECKED]
        if rows or found:
            sections.append({"section": section, "rows": rows, "findings": found})
    return sections


def rows_of(sheet, row):
    """A table row for each answer to a trait: name, place, step, its words, and how it lies to the goal."""
    goal = row.goal_for(sheet.age_class)
    for site in row.trait.sites or [""]:
        if answer := sheet.answers.get((row.trait_id, site)):
            yield {
                "id": field_name(row.trait, site),
                "name": row.trait.name,
                "ramp": RAMPS.get(kind_of(row.trait), ""),
                "site": site,
                "answer": answer,
                "words": words_of(row, answer.step),
                "goal": goal,
                "beside_goal": beside(answer.step, goal, row.goal_for(None)),
            }


def words_of(row, step):
    """The step's own words; for a step between two described ones, both neighbours'."""
    if step is None:
        return ""
    texts = {text.step: text.words for text in row.step_texts.all()}
    if step in texts:
        return texts[step]
    near = [texts[each] for each in (step - 1, step + 1) if each in texts]
    return " / ".join(near)


def beside(step, goal, without_leeway=None):
    """'inside', 'under' or 'over' the goal, or within the 'leeway' for seniors; '' without a step or a goal."""
    if step is None or goal is None:
        return ""
    if step < goal[0]:
        return "under"
    if step > goal[1]:
        return "over"
    return "leeway" if without_leeway and step < without_leeway[0] else "inside"


def next_animal(look, member, now=None):
    """The next animal of the same herd, in the order of its list, that the member has not looked at today."""
    since = timezone.localtime(now or timezone.now()).replace(hour=0, minute=0, second=0, microsecond=0)
    looked = Look.objects.filter(animal=OuterRef("pk"), observer=member.pk, started_at__gte=since)
    looked = looked.filter(started_at__lt=since + timedelta(days=1))
    herd = Animal.objects.gradable_by(member).here().filter(herd=look.animal.herd_id)
    ids = list(
        herd.annotate(done=Exists(looked)).filter(Q(done=False) | Q(pk=look.animal_id)).values_list("pk", flat=True)
    )
    here = ids.index(look.animal_id) if look.animal_id in ids else -1
    waiting = ids[here + 1 :] + ids[: max(here, 0)]
    return (Animal.objects.get(pk=waiting[0]), len(waiting)) if waiting else (None, 0)


def over_time(animal, looks):
    """The plot of surface and undercolor against age, and its table, from the newest looks that count."""
    last = list(looks.current().select_related("age_class", "observer")[:POINTS_SHOWN])
    if not last:
        return {"newest": None, "plot": None}
    newest = last[0]
    goals = goals_of(newest.profile_id, newest.age_class.code if newest.age_class_id else None)
    return {
        "newest": newest,
        "plot": time_plot(last[::-1], goals, animal.born_on),
        "plot_columns": COLUMNS,
        "plot_rows": [numbers(look, animal) for look in last],
    }


def numbers(look, animal):
    """A row of the table beside a plot."""
    told = [step_words(v) if v is not None else "not told" for v in (look.surface, look.undercolor, look.reach)]
    return [day_words(look.observed_on), age_words(animal.born_on, look.observed_on), *told]
