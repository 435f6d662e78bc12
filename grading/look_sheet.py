"""What one screen of a look shows: its traits as scales, its findings, and how far the look has come.

Reading only. The goal of a trait is on its scale only after a step was chosen, and earlier looks are never read here.
"""

from dataclasses import dataclass
from functools import cached_property
from urllib.parse import urlencode

from django.core.exceptions import ValidationError
from django.db.models import Prefetch
from django.urls import reverse

from .models import Answer, LookFinding, Mode, ProfileFinding, ProfileTrait, StepText, Summary

CANNOT_TELL = "cannot-tell"
NEEDS_HAND = "A photo cannot show this. Grade it with the animal in hand."
OFF_SCALE = "This step is not on the trait's scale. Choose one of the steps shown."


@dataclass(frozen=True)
class Section:
    """A screen of the look: its number, its name, and what to do before the first answer."""

    number: int
    name: str
    advice: str


SECTIONS = {
    section.number: section
    for section in (
        Section(1, "From three paces", "Hands off. Step back three paces and let the animal settle."),
        Section(2, "Close to", "Look across the coat first, then into it."),
        Section(3, "Coat parted", "Blow or part the coat down to the skin at shoulder, loin and rump."),
        Section(4, "Hands on", "Set the animal up, then feel: one hand steadies it, the other judges."),
        Section(5, "Coat and animal", "Last, the coat's stage and the animal as a whole."),
    )
}
KINDS = {Summary.SURFACE: "surface", Summary.UNDERCOLOR: "under"}


def field_name(trait, site=""):
    """The form's name for a trait, at a place where the coat is parted: 'undercolor--loin'."""
    return f"{trait.code}--{site}" if site else trait.code


def step_of(trait, text):
    """The step that a form sent, None for 'cannot tell'; ValidationError for anything else."""
    if text == CANNOT_TELL:
        return None
    if text not in {str(step) for step in trait.steps}:
        raise ValidationError({"step": OFF_SCALE}, code="answer_on_scale")
    return int(text)


class LookSheet:
    """All of a look that its screens need, each part read once and only when asked for.

    Step texts are read for the section shown, or for the one trait `code`, or for all.
    """

    def __init__(self, look, section=None, *, code=None):
        self.look, self.section, self.code = look, section, code
        self.age_class = look.age_class.code if look.age_class_id else None

    @cached_property
    def rows(self):
        texts = StepText.objects.all()
        if self.code:
            texts = texts.filter(trait__trait__code=self.code)
        elif self.section:
            texts = texts.filter(trait__trait__section=self.section)
        rows = ProfileTrait.objects.filter(profile=self.look.profile_id).select_related("trait")
        return list(rows.prefetch_related(Prefetch("step_texts", texts)).order_by("trait__section", "trait__position"))

    @cached_property
    def answers(self):
        return {(answer.trait_id, answer.site): answer for answer in Answer.objects.filter(look=self.look)}

    @cached_property
    def kinds(self):
        kinds = ProfileFinding.objects.filter(profile=self.look.profile_id).select_related("kind")
        return list(kinds.order_by("kind__section", "kind__position"))

    @cached_property
    def found(self):
        return {found.kind_id: found for found in LookFinding.objects.filter(look=self.look)}

    @cached_property
    def goals(self):
        """(low, high) of the goal by summary column, for the animal's age class on the day."""
        rows = [row for row in self.rows if row.trait.summary]
        return {row.trait.summary: goal for row in rows if (goal := row.goal_for(self.age_class))}

    @cached_property
    def goals_without_leeway(self):
        """The same, before the leeway that seniors get."""
        rows = [row for row in self.rows if row.trait.summary]
        return {row.trait.summary: goal for row in rows if (goal := row.goal_for(None))}

    def row(self, code):
        """The trait of that code in the look's profile; None when the profile does not grade it."""
        return next((row for row in self.rows if row.trait.code == code), None)

    def kind(self, code):
        """The finding of that code in the look's profile; None when it does not ask for it."""
        return next((row for row in self.kinds if row.kind.code == code), None)

    def show(self, trait, site, step):
        """Show an answer without asking the database for it."""
        self.answers[trait.pk, site] = Answer(
            look=self.look, trait=trait, site=site, step=step, cannot_tell=step is None
        )

    def scale(self, row, site="", **more):
        """One scale as it stands."""
        return scale_of(self.look, row, self.answers.get((row.trait_id, site)), self.age_class, site, **more)

    def groups(self):
        """The section's traits in order: {'scale': ...}, or {'scales': [...], ...} where the coat is parted."""
        for row in self.rows:
            if row.trait.section == self.section:
                if row.trait.sites:
                    yield self.places(row)
                else:
                    yield {"scale": self.scale(row)}

    def places(self, row):
        """A trait at its places, and the step that one touch may copy to those that are still open."""
        answers = {site: self.answers.get((row.trait_id, site)) for site in row.trait.sites}
        return {
            "trait": row.trait,
            "scales": [self.scale(row, site) for site in answers],
            "same": same_at_open_places(self.look, row.trait, answers),
        }

    def findings(self, section=None):
        """The findings of a section, or of all, with what was said of each."""
        wanted = section or self.section
        return [
            finding_of(self.look, row, self.found.get(row.kind_id))
            for row in self.kinds
            if wanted is None or row.kind.section == wanted
        ]

    def progress(self):
        """Per section what was asked and answered, with the address of its first open question."""
        return [self._progress_of(section) for section in SECTIONS.values()]

    def _progress_of(self, section):
        url = reverse("look-section", args=[self.look.pk, section.number])
        asked, still_open = 0, []
        for row in self.rows:
            if row.trait.section == section.number and can_be_asked(self.look, row.trait):
                for site in row.trait.sites or [""]:
                    asked += 1
                    if (row.trait_id, site) not in self.answers:
                        still_open.append(f"scale-{field_name(row.trait, site)}")
        if section.number == 5:
            asked += 2
            still_open += ["coat-stage"] * (not self.look.coat_stage)
            still_open += ["silvering"] * (self.look.silvering_complete is None)
        return {
            "section": section,
            "asked": asked,
            "answered": asked - len(still_open),
            "open": len(still_open),
            "url": url,
            "first_open": f"{url}#{still_open[0]}" if still_open else "",
            "current": section.number == self.section,
        }

    def next_open(self, progress):
        """The address of the first open question: of this section, else of a later, else of an earlier one."""
        here = (self.section or 1) - 1
        return next((each["first_open"] for each in progress[here:] + progress[:here] if each["first_open"]), "")

    def not_looked_for(self):
        """Names of the findings that nobody said anything about."""
        return [
            row.kind.name
            for row in self.kinds
            if row.kind_id not in self.found or self.found[row.kind_id].state == LookFinding.State.NOT_CHECKED
        ]


def can_be_asked(look, trait):
    """False for what a look from photos cannot answer."""
    return look.mode == Mode.IN_HAND or trait.photo_can_show


def scale_of(look, row, answer, age_class, site="", error="", saved=""):
    """What components/scale.html draws for a profile's trait; the goal only when a step was chosen."""
    trait = row.trait
    words = {text.step: text for text in row.step_texts.all()}
    chosen = answer is not None and answer.step is not None
    goal = row.goal_for(age_class) if chosen else None
    name = field_name(trait, site)
    locked = "" if can_be_asked(look, trait) else NEEDS_HAND
    query = urlencode({"trait": trait.code, **({"site": site} if site else {})})
    return {
        "name": name,
        "label": site.capitalize() if site else trait.name,
        "help": "" if site else trait.question,
        "kind": kind_of(trait),
        "steps": [step_shown(trait, step, words.get(step)) for step in trait.steps],
        "low_words": trait.low_words,
        "high_words": trait.high_words,
        "value": answer.step if answer else None,
        "cannot_tell": bool(answer and answer.cannot_tell),
        "chosen": chosen,
        "goal_low": goal[0] if goal else None,
        "goal_high": goal[1] if goal else None,
        "locked": locked,
        "error": error,
        "saved": saved,
        "save_url": "" if locked else f"{reverse('look-answer', args=[look.pk])}?{query}",
    }


def kind_of(trait):
    """The ramp behind a trait's scale."""
    if trait.code == "surface_cast":
        return "cast"
    return KINDS.get(trait.summary) or ("two-sided" if trait.two_sided else "plain")


def step_shown(trait, step, text):
    """A step with its words and picture; the two ends have words even where the profile has none."""
    ends = {trait.scale_low: trait.low_words, trait.scale_high: trait.high_words}
    return {
        "value": step,
        "words": text.words if text else ends.get(step, ""),
        "picture": reverse("step-picture", args=[text.pk]) if text and text.picture else "",
    }


def same_at_open_places(look, trait, answers):
    """The step to copy, and to which places; None unless a place is answered and another is still open."""
    given = next((answer for answer in answers.values() if answer and answer.step is not None), None)
    still_open = [site for site, answer in answers.items() if answer is None]
    if given is None or not still_open or not can_be_asked(look, trait):
        return None
    return {
        "step": given.step,
        "where": " and ".join(still_open),
        "url": f"{reverse('look-answer', args=[look.pk])}?{urlencode({'trait': trait.code, 'same': given.step})}",
    }


def finding_of(look, row, found):
    """A finding as its fieldset shows it."""
    state = found.state if found else LookFinding.State.NOT_CHECKED
    places = set(found.place.split(", ")) if found and found.place else set()
    return {
        "kind": row.kind,
        "effect": row.effect,
        "why": row.why,
        "state": state,
        "states": LookFinding.State.choices,
        "places": [(place, place in places) for place in row.kind.places],
        "url": f"{reverse('look-finding', args=[look.pk])}?{urlencode({'finding': row.kind.code})}",
    }
