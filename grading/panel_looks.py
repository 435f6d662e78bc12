"""What looks add to the animal's and the herd's pages."""

from django.db.models import F, FloatField, Func, OuterRef, Subquery, TextField, Value
from django.db.models.fields.json import KeyTextTransform
from django.db.models.functions import Cast, JSONObject
from django.urls import reverse

from herds.models import Animal, Herd
from herds.panels import AnimalAction, AnimalPanel, AnimalTie, HerdColumn
from herds.panels import register as add

from . import look_changes as changes
from .look_reading import over_time
from .models import Look


def register():
    """Called once when the app is ready."""
    add(AnimalAction("look", "Look", 10, look_url, icon="coat"))
    add(AnimalPanel("looks", "Looks over time", 10, "grading/look_panel.html", looks_panel))
    surface = HerdColumn(
        "surface", "Surface, last look", 10, "grading/look_column.html", with_last_look, "last_surface",
        shown=looks_known,
    )  # fmt: skip
    undercolor = HerdColumn(
        "undercolor", "Undercolor, last look", 11, "grading/look_column_under.html", with_last_look, "last_undercolor",
        on_phone=False, shown=looks_known,
    )  # fmt: skip
    add(AnimalTie("looks", looks_of_others))
    add(surface)
    add(undercolor)


def looks_of_others(animal, member):
    """A finished look by somebody else stands on the animal's identity."""
    if Look.objects.finished().filter(animal=animal).exclude(observer=member.pk).exists():
        return f"Somebody else has graded {animal}, so the registrar changes this."
    return ""


def looks_known(herd, member):
    """True when the member may see looks of this herd: as keeper, as mentor, or because it shares them."""
    if herd.shares_looks or Herd.objects.kept_by(member).filter(pk=herd.pk).exists():
        return True
    return Herd.objects.granted_to(member).filter(pk=herd.pk).exists()


def look_url(request, animal):
    """Where to begin a look, for those who may grade the animal."""
    if Animal.objects.gradable_by(request.user).filter(pk=animal.pk).exists():
        return reverse("look-create", args=[animal.pk])
    return None


def looks_panel(request, animal):
    """The looks that the member may see; None for those who may neither see nor make one."""
    looks = Look.objects.visible_to(request.user).finished().filter(animal=animal)
    context = over_time(animal, looks)
    if context["newest"] is None and look_url(request, animal) is None:
        return None
    if context["newest"]:
        context["newest"].why_provisional = changes.why_provisional(context["newest"])
    return {"animal": animal, "list_url": reverse("look-list", args=[animal.pk]), **context}


def with_last_look(animals, member):
    """Annotate `last_look`, a dict of the last look that counts and the member may see; sort by its two shades.

    One subquery a row, and again in the order only when the list is sorted by it.
    """
    if "last_look" in animals.query.annotations:
        return animals
    looks = Look.objects.visible_to(member).current().filter(animal=OuterRef("pk")).order_by("-observed_on", "-pk")
    day = Func(F("observed_on"), Value("FMDD FMMonth YYYY"), function="to_char", output_field=TextField())
    about = JSONObject(
        surface="surface", undercolor="undercolor", reach="reach", provisional="provisional", day=day, pk="pk"
    )
    animals = animals.annotate(last_look=Subquery(looks.values(about=about)[:1]))
    return animals.alias(last_surface=_number("surface"), last_undercolor=_number("undercolor"))


def _number(name):
    return Cast(KeyTextTransform(name, "last_look"), FloatField())
