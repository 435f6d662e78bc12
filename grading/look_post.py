"""A whole section of a look sent at once, as a page without script sends it: all of it is saved, or nothing."""

from datetime import UTC, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from .actions import looks as actions
from .forms.looks import FactsForm
from .look_sheet import SECTIONS, LookSheet, can_be_asked, field_name, step_of

FACTS_SECTION = 5


class SectionPost:
    """What a section's form sent, and the page that shows it; `errors` by field name."""

    def __init__(self, request, look, section):
        self.request, self.look, self.section = request, look, section
        self.sheet = LookSheet(look, section)
        self.errors: dict[str, str] = {}
        data = request.POST if request.method == "POST" else None
        self.facts = FactsForm(data, look=look, member=request.user) if section == FACTS_SECTION else None

    def save(self):
        """Save everything that was sent, in one piece; False with the reasons in `errors`."""
        answers, findings = self._answers(), self._findings()
        if self.facts is not None and not self.facts.is_valid():
            self.errors |= {name: " ".join(errors) for name, errors in self.facts.errors.items()}
        if self.errors:
            return False
        look, by = self.look, self.request.user
        try:
            with transaction.atomic():
                actions.save_answers(look=look, answers=answers, by=by, given_at=given_at(self.request))
                for kind, state, places in findings:
                    actions.save_finding(look=look, kind=kind, state=state, places=places, by=by)
                if self.facts is not None:
                    actions.save_facts(look=look, by=by, **self.facts.facts())
        except ValidationError as error:
            self.errors["section"] = " ".join(error.messages)
            return False
        return True

    def context(self):
        """What templates/grading/look_section.html draws: the look as it stands, with what was just typed over it."""
        section = SECTIONS[self.section]
        progress = self.sheet.progress()
        return {
            "look": self.look,
            "section": section,
            "groups": [self._with_errors(group) for group in self.sheet.groups()],
            "findings": self.sheet.findings(),
            "facts": [fact_of(self.look, self.facts, name) for name in self.facts.fields] if self.facts else [],
            "progress": progress,
            "next_open": self.sheet.next_open(progress),
            "not_looked_for": self.sheet.not_looked_for() if self.section == FACTS_SECTION else [],
            "previous": SECTIONS.get(self.section - 1),
            "next": SECTIONS.get(self.section + 1),
            "errors": self.errors,
            "given": int(timezone.now().timestamp() * 1000),
        }

    def _answers(self):
        answers = []
        for row in self.sheet.rows:
            if row.trait.section != self.section or not can_be_asked(self.look, row.trait):
                continue
            for site in row.trait.sites or [""]:
                name = field_name(row.trait, site)
                text = self.request.POST.get(name) or self._same(row.trait)
                if text:
                    try:
                        step = step_of(row.trait, text)
                    except ValidationError as error:
                        self.errors[name] = " ".join(error.messages)
                    else:
                        answers.append((row.trait, site, step))
                        self.sheet.show(row.trait, site, step)
        return answers

    def _same(self, trait):
        """The step that 'same at the other places' gives to a place without one; '' when that was not pressed."""
        code, _, step = self.request.POST.get("same", "").partition(":")
        return step if code == trait.code else ""

    def _findings(self):
        """The findings that were sent and say something else than before."""
        post, findings = self.request.POST, []
        for before in self.sheet.findings():
            kind = before["kind"]
            state, places = post.get(f"finding--{kind.code}"), post.getlist(f"place--{kind.code}")
            places = places if state == "seen" else []
            same = state == before["state"] and places == [place for place, chosen in before["places"] if chosen]
            if state is not None and not same:
                findings.append((kind, state, places))
        return findings

    def _with_errors(self, group):
        for scale in group.get("scales") or [group["scale"]]:
            scale["error"] = self.errors.get(scale["name"], "")
        return group


def fact_of(look, form, name, saved=""):
    """A field of the facts form as the screen draws it, with where its touch is sent."""
    ids = {"coat_stage": "coat-stage", "silvering_complete": "silvering"}
    url = f"{reverse('look-facts', args=[look.pk])}?fact={name}"
    return {"id": ids.get(name, name), "field": form[name], "saved": saved, "url": url}


def given_at(request):
    """When the person chose, by the page's clock (milliseconds, hidden field `given`); None when it is not said."""
    try:
        return datetime.fromtimestamp(int(request.POST["given"]) / 1000, tz=UTC)
    except (KeyError, ValueError, OverflowError, OSError):
        return None
