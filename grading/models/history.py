"""What is remembered of looks once they are finished, and of breed profiles."""

from django.db.models import Q

from clubsite.members.models import READERS, Audience, remember
from herds.models import Herd
from herds.models.history import GRAMS

from .look import Answer, Look, LookFinding
from .points import PointsLine, PointsSheet
from .profile import (
    AgeClass,
    BreedProfile,
    FindingKind,
    Position,
    ProfileFinding,
    ProfileTrait,
    StepText,
    Trait,
    WeightClass,
)
from .weight_band import WeightBand


def look_readers(member):
    """Whoever may see the look; of a look that was removed, the herd's keepers."""
    seen = Look.objects.visible_to(member).values("pk")
    kept = Q(herd_id__in=Herd.objects.kept_by(member).values("pk"))
    return kept | Q(label="grading.look", object_id__in=seen) | Q(parent="grading.look", parent_id__in=seen)


READERS[Audience.LOOK] = look_readers


def of_look(key):
    """Where the row of a look belongs; kept only once the look is finished: before, it is still being made."""
    look = "(SELECT l.{} FROM grading_look l WHERE l.id = it.{})"
    return {
        "audience": Audience.LOOK,
        "animal": look.format("animal_id", key),
        "herd": look.format("herd_id", key),
        "when": f"EXISTS (SELECT 1 FROM grading_look l WHERE l.id = it.{key} AND l.finished_at IS NOT NULL)",
    }


def edition(told):
    before, after = told.pair("published_at")
    if told.made or told.removed or before == after:
        return None
    return f"{'published' if after else 'withdrew'} {told.noun()}"


def superseded(told):
    if told.pair("current") == ("yes", "no"):
        return f"superseded the look of {told.about('observed_on')}"
    return None


remember(
    Look,
    "Looks",
    "the look of {observed_on}",
    audience=Audience.LOOK,
    leave_out=["surface", "undercolor", "reach", "client_key", "started_at", "editable_until", "age_days"],
    about=["observed_on"],
    animal="it.animal_id",
    herd="it.herd_id",
    when="TG_OP = 'DELETE' OR it.finished_at IS NOT NULL",
    tell=superseded,
    named_with=["animal"],
    units=GRAMS,
)
remember(
    Answer,
    "Looks",
    lambda told: f"the step of {told.about('trait_id')}" + (f", {told.about('site')}" if told.about("site") else ""),
    about=["trait_id", "site"],
    leave_out=["saved_at"],
    parent="look",
    itself="step",
    **of_look("look_id"),
)
remember(
    LookFinding, "Looks", "the finding {kind_id}", about=["kind_id"], parent="look", itself="state",
    **of_look("look_id"),
)  # fmt: skip
remember(PointsSheet, "Looks", "the points sheet", leave_out=["begun_at"], parent="look", **of_look("look_id"))
remember(
    PointsLine,
    "Looks",
    "the points of {position_id}",
    about=["position_id"],
    leave_out=["saved_at"],
    parent=("grading.look", "it.sheet_id"),
    itself="points",
    **of_look("sheet_id"),
)
remember(
    BreedProfile,
    "Editions",
    "{name}, {edition}",
    audience=Audience.CLUB,
    about=["name", "edition"],
    made=True,
    tell=edition,
)
remember(Trait, "Editions", "the trait {name}", audience=Audience.CLUB, about=["name"])
remember(FindingKind, "Editions", "the finding {name}", audience=Audience.CLUB, about=["name"])

# A draft is written and rewritten by the editor; its parts are remembered from its publication on.
PUBLISHED = "EXISTS (SELECT 1 FROM grading_breedprofile p WHERE p.id = {} AND p.published_at IS NOT NULL)"


def remember_part(model, noun, *about, edition="it.profile_id", **more):
    remember(
        model,
        "Editions",
        noun,
        audience=Audience.CLUB,
        about=about,
        parent=("grading.breedprofile", edition),
        when=PUBLISHED.format(edition),
        made=True,
        **more,
    )


OF_ITS_CLASS = "(SELECT c.profile_id FROM grading_ageclass c WHERE c.id = it.age_class_id)"
OF_ITS_TRAIT = "(SELECT t.profile_id FROM grading_profiletrait t WHERE t.id = it.trait_id)"
remember_part(Position, "the position {name}", "name")
remember_part(ProfileTrait, "the goal of {trait_id}", "trait_id", named_with=["trait", "profile"])
remember_part(ProfileFinding, "the finding {kind_id}", "kind_id")
remember_part(AgeClass, "the age class {name}", "name")
remember_part(WeightBand, "the points for weights from {lowest_grams} g", "lowest_grams")
remember_part(WeightClass, "the weights of an age class", edition=OF_ITS_CLASS)
remember_part(StepText, "the words of step {step}", "step", edition=OF_ITS_TRAIT)
