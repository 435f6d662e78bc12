"""What the pages of the profile editor have in common: who is let in, and how a part is saved."""

from functools import wraps

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render

from clubsite.errors import NotYours
from clubsite.forms import refuse
from clubsite.versions import StalePage
from grading.actions.editions import save_part
from grading.models import BreedProfile
from grading.profiles.differences import section_changes
from grading.profiles.parts import part_of, told_part
from grading.profiles.words import Names

PUBLISHED = "This edition is published, so it stays as it is. Make a new edition from it."


def editions():
    return BreedProfile.objects.select_related("breed", "previous")


def readable_editions(member):
    """Published editions for every member, drafts for officers."""
    return editions() if member.is_officer else editions().filter(published_at__isnull=False)


def draft_editor(view):
    """For officers: gives the view the edition. Whoever opens the editor of a published one is sent to its page."""

    @wraps(view)
    def door(request, pk, *args, **kwargs):
        if not getattr(request.user, "is_officer", False):
            raise NotYours
        edition = get_object_or_404(editions(), pk=pk)
        if edition.published_at and request.method in ("GET", "HEAD"):
            messages.info(request, PUBLISHED)
            return redirect("profile-detail", edition.pk)
        return view(request, edition, *args, **kwargs)

    return door


def part_page(request, edition, part, form, template, *, to, said, **context):
    """The page of one part: shown, saved, refused (422), or overtaken by another officer (409)."""
    status, saved = 200, None
    if request.method == "POST":
        status = save(request, edition, part, form)
        if status == 302:
            messages.success(request, said)
            return redirect(to)
        if form.stale:
            saved = saved_meanwhile(request, edition, part, form)
    context |= {"edition": edition, "form": form, "saved": saved, "stale": form.stale}
    return render(request, template, context, status=status)


def save(request, edition, part, form, **more):
    """302 when saved, 422 with sentences on the form, 409 when the saved part is another than the page showed."""
    if not form.is_valid():
        return 422
    try:
        save_part(
            profile=edition, name=part, content=form.content, seen=form.cleaned_data["seen"], by=request.user, **more
        )
    except StalePage as stale:
        form.add_error(None, stale)
        form.see_again(part_of(edition, part))
        return 409
    except ValidationError as error:
        refuse(form, error)
        return 409 if getattr(error, "code", "") in ("profile_published", "gone") else 422
    return 302


def saved_meanwhile(request, edition, part, form):
    """What is saved now beside what was typed, as SectionChanges from the typed to the saved."""
    typed, now = form.content, part_of(edition, part)
    names, unit = Names(), request.user.weight_unit
    told = [told_part(edition, part, content, names, unit) for content in (typed, now)]
    return section_changes("Saved now", *told)
