"""The look in the cells of a pedigree: surface shade, never without undercolor, of the last look that counts."""

from grading.models import Look
from pedigrees.places import CellPart
from pedigrees.places import register as add


def last_looks(member, keys):
    """{animal key: its last current look}, as far as the member may see it. One query."""
    looks = Look.objects.visible_to(member).current().filter(animal__in=keys)
    looks = looks.order_by("animal", "-observed_on", "-pk").distinct("animal")
    fields = ("surface", "undercolor", "reach", "provisional", "observed_on")
    return {row.pop("animal"): row for row in looks.values("animal", *fields)}


def in_words(look):
    """'surface 6.5, undercolor 7, 8/10 deep': for papers and screen readers."""
    surface = f"surface {look['surface']:.3g}" if look["surface"] is not None else "surface not seen"
    under = f"undercolor {look['undercolor']:.3g}" if look["undercolor"] is not None else "undercolor not seen"
    deep = f", {look['reach']:.3g}/10 deep" if look["undercolor"] is not None and look["reach"] is not None else ""
    return f"{surface}, {under}{deep}{', provisional' if look['provisional'] else ''}"


def register():
    """Called once when the app is ready."""
    add(CellPart("look", 10, "grading/pedigree_look.html", last_looks, in_words))
