"""The editor's pages of a draft's parts: points, ages, weight table, traits, findings."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from clubsite.forms import posted
from grading import photo_files
from grading.actions import editions as actions
from grading.forms.edition_weights import AgeClassForm, BandsForm, MonthsForm
from grading.forms.editions import FindingsForm, HeadForm, PointsForm, PositionForm, TraitForm
from grading.look_sheet import SECTIONS
from grading.models import FindingKind, StepText, Trait
from grading.profiles.checks import age_problems, points_problems, weight_problems
from grading.profiles.documents import fingerprint, section_of
from grading.profiles.parts import part_of
from grading.profiles.words import Names
from grading.step_files import keep_step_pictures

from .edition_pages import draft_editor, part_page, save, saved_meanwhile

GET_POST = ["GET", "POST"]


@require_http_methods(GET_POST)
@draft_editor
def edition_head(request, edition):
    """Association, name, edition, days and source of a draft."""
    form = HeadForm(posted(request), content=part_of(edition, "profile"), instance=edition)
    to = reverse("profile-edit", args=[edition.pk])
    return part_page(
        request, edition, "profile", form, "grading/edition_head.html", to=to, said="The head of the edition is saved."
    )


@require_http_methods(GET_POST)
@draft_editor
def edition_points(request, edition):
    """The points and floors of all positions, with their sums."""
    positions = section_of(edition, "positions")
    form = PointsForm(posted(request), content=part_of(edition, "points"), positions=positions)
    problems = points_problems({"positions": positions, "profile": {"points_total": edition.points_total}})
    to = reverse("profile-points", args=[edition.pk])
    return part_page(
        request, edition, "points", form, "grading/edition_points.html", to=to, said="The points are saved.",
        problems=problems, have=sum(row["points"] for row in positions),
    )  # fmt: skip


@require_http_methods(GET_POST)
@draft_editor
def edition_position(request, edition, code=""):
    """One position, or a new one."""
    content = part_of(edition, f"positions.{code}") if code else None
    if code and content is None and request.method == "GET":
        raise Http404
    form = PositionForm(
        posted(request), content=content, positions=section_of(edition, "positions"), names=Names(), code=code,
        codes={name: set(section_of(edition, name)) for name in ("traits", "findings")},
    )  # fmt: skip
    part = f"positions.{code or _code_of(form)}"
    to = reverse("profile-points", args=[edition.pk])
    return part_page(
        request, edition, part, form, "grading/edition_position.html", to=to, said="The position is saved.",
        content=content,
    )  # fmt: skip


def _code_of(form):
    """The code that a new row will have, once its form is right."""
    return form.content["code"] if form.is_bound and form.is_valid() else ""


@require_http_methods(GET_POST)
@draft_editor
def edition_ages(request, edition):
    """From and until which month each age class goes; its weights have a page of their own."""
    classes = section_of(edition, "age_classes")
    form = MonthsForm(posted(request), content=part_of(edition, "months"), classes=classes)
    to = reverse("profile-ages", args=[edition.pk])
    return part_page(
        request, edition, "months", form, "grading/edition_ages.html", to=to, said="The ages are saved.",
        problems=age_problems(classes),
    )  # fmt: skip


@require_http_methods(GET_POST)
@draft_editor
def edition_class(request, edition, code=""):
    """One age class with its weights, or a new one."""
    content = part_of(edition, f"age_classes.{code}") if code else None
    if code and content is None and request.method == "GET":
        raise Http404
    taken = {row["code"] for row in section_of(edition, "age_classes")}
    unit = request.user.weight_unit
    form = AgeClassForm(posted(request), content=content, unit=unit, taken=taken, code=code)
    part = f"age_classes.{code or _code_of(form)}"
    to = reverse("profile-ages", args=[edition.pk])
    return part_page(
        request, edition, part, form, "grading/edition_class.html", to=to, said="The age class is saved.",
        content=content,
    )  # fmt: skip


@require_http_methods(GET_POST)
@draft_editor
def edition_bands(request, edition):
    """The points that each weight has."""
    document = {name: section_of(edition, name) for name in ("positions", "age_classes", "weight_bands")}
    form = BandsForm(
        posted(request), content=document["weight_bands"], classes=document["age_classes"],
        unit=request.user.weight_unit,
    )  # fmt: skip
    to = reverse("profile-bands", args=[edition.pk])
    return part_page(
        request, edition, "weight_bands", form, "grading/edition_bands.html", to=to,
        said="The weight table is saved.", problems=weight_problems(document),
    )  # fmt: skip


@require_http_methods(["GET", "HEAD"])
@draft_editor
def edition_traits(request, edition):
    """The traits of a draft with their goals, by the section of the look."""
    rows = list(edition.traits.select_related("trait"))
    sections = [
        {"section": section, "rows": [row for row in rows if row.trait.section == section.number]}
        for section in SECTIONS.values()
    ]
    return render(request, "grading/edition_traits.html", {"edition": edition, "sections": sections})


@require_http_methods(GET_POST)
@draft_editor
def edition_trait(request, edition, code):
    """One trait: goal, leeway, and each step in words and with the club's own picture."""
    trait = get_object_or_404(Trait, code=code)
    content = part_of(edition, f"traits.{code}")
    if content is None and request.method == "GET":
        raise Http404
    form = TraitForm(posted(request), request.FILES or None, content=content, trait=trait)
    status, saved = 200, None
    if request.method == "POST":
        status = _save_trait(request, edition, code, form)
        if status == 302:
            messages.success(request, f"{trait} is saved.")
            return redirect(reverse("profile-traits", args=[edition.pk]) + f"#{code}")
        saved = saved_meanwhile(request, edition, f"traits.{code}", form) if form.stale else None
    texts = StepText.objects.filter(trait__profile=edition, trait__trait=trait).exclude(picture="")
    pictured = {text.step: text for text in texts}
    context = {
        "edition": edition, "trait": trait, "form": form, "saved": saved, "stale": form.stale,
        "steps": form.steps(pictured),
    }  # fmt: skip
    return render(request, "grading/edition_trait.html", context, status=status)


def _save_trait(request, edition, code, form):
    """Store the pictures first; those of a refused form go again."""
    if not form.is_valid():
        return 422
    pictures = keep_step_pictures(form.pictures)
    status = save(request, edition, f"traits.{code}", form, pictures=pictures, without=form.without)
    if status != 302:
        photo_files.remove(*pictures.values())
    return status


@require_http_methods(GET_POST)
@draft_editor
def edition_findings(request, edition):
    """What each finding means."""
    form = FindingsForm(posted(request), content=part_of(edition, "findings"), kinds=FindingKind.objects.all())
    to = reverse("profile-edit", args=[edition.pk])
    return part_page(
        request, edition, "findings", form, "grading/edition_findings.html", to=to, said="The findings are saved."
    )


REMOVABLE = {"positions": "profile-points", "age_classes": "profile-ages", "traits": "profile-traits"}


@require_http_methods(GET_POST)
@draft_editor
def part_remove(request, edition, section, code):
    """Ask, then take a position, an age class or a trait out of a draft."""
    part = f"{section}.{code}"
    content = part_of(edition, part)
    if section not in REMOVABLE or content is None:
        raise Http404
    back = reverse(REMOVABLE[section], args=[edition.pk])
    name = content.get("name") or Names().traits[code]
    if request.method == "POST":
        return _removed(request, edition, part, content, name, back)
    kept = "Looks under other editions keep it." if section == "traits" else "Other editions keep it."
    context = {
        "title": f"Take {name} out", "text": f"{name} leaves the draft {edition}. {kept}",
        "confirm_label": "Take it out", "cancel_url": back, "danger": True,
    }  # fmt: skip
    return render(request, "confirm.html", context)


def _removed(request, edition, part, content, name, back):
    try:
        actions.save_part(profile=edition, name=part, content=None, seen=fingerprint(content), by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, f"{name} is no longer in this draft.")
    return redirect(back)
