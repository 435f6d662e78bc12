"""The animal's own merits on its page: surface shade and undercolor together, the other traits behind."""

from django.urls import reverse
from django.utils import timezone

from grading import merit_card, merit_words
from grading.comparing.kinds import may_sire
from grading.models import BreedProfile
from herds.models import Animal
from herds.panels import AnimalPanel
from herds.panels import register as add
from herds.words import day_words


def register():
    """Called once when the app is ready."""
    add(AnimalPanel("merits", "Merits", 15, "grading/merit_panel.html", merits_panel))


def merits_panel(request, animal):
    """Merits that the member may read, or the sentence that says why not; None before the breed's first run."""
    told = merit_card.read(animal, request.user)
    if not told:
        refusal = merit_card.why_none(animal)
        return {"refusal": refusal} if refusal else None
    profile = BreedProfile.in_force(animal.breed_id, timezone.localdate())
    goals = {row.trait_id: row.goal_for("") for row in profile.traits.all()} if profile else {}
    rows = [merit_words.row_of(each, merit, goals.get(each.trait.pk)) for each, merit in told]
    leading = {each.trait.summary: merit for each, merit in told}
    sires = may_sire(Animal.objects.filter(pk=animal.pk)).exists()
    return {
        "leading": [row for row in rows if row["trait"].summary in ("surface", "undercolor")],
        "others": [row for row in rows if row["trait"].summary not in ("surface", "undercolor")],
        "coat": merit_words.coat_of(leading.get("surface"), leading.get("undercolor")),
        "told_on": day_words(timezone.localtime(max(each.ended_at for each, _ in told)).date()),
        "what_it_is": merit_words.WHAT_IT_IS,
        "sire_url": reverse("sire-detail", args=[animal.pk]) if sires else "",
    }
