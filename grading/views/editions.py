"""Officers' pages of whole editions: copy, the draft's desk, publish, end, withdraw, delete."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from clubsite.forms import carried_out, posted, refuse
from clubsite.members.guards import officers_only
from clubsite.members.sent_once import sent_once
from clubsite.versions import StalePage
from grading.actions import editions as actions
from grading.forms.editions import CopyForm, EndForm, PublishForm
from grading.models import Look
from grading.profiles.checks import hindrances, remarks
from grading.profiles.differences import compared
from grading.profiles.documents import document_of
from grading.profiles.words import Names, counted
from herds.words import count_words

from .edition_pages import draft_editor, editions

GET_POST = ["GET", "POST"]


@require_http_methods(GET_POST)
@officers_only
@sent_once
def edition_copy(request, pk):
    """A new edition, or another association's profile, from one that is there."""
    source = get_object_or_404(editions(), pk=pk)
    form = CopyForm(posted(request), source=source)
    if request.method == "POST" and form.is_valid():
        draft = carried_out(form, actions.copy_edition, copied=source, by=request.user, **form.cleaned_data)
        if draft:
            messages.success(request, f"{draft} is a draft now. Change what is new in it, then publish it.")
            return redirect("profile-edit", draft.pk)
    context = {"source": source, "form": form}
    return render(request, "grading/edition_copy.html", context, status=422 if form.errors else 200)


@require_safe
@draft_editor
def edition_desk(request, edition):
    """Where a draft stands: its parts, what differs from the edition before, what is still to settle."""
    document = document_of(edition)
    context = {"edition": edition, "document": document, "counts": counted(document)}
    return render(request, "grading/edition_desk.html", context | _standing(request, edition, document))


def _standing(request, edition, document):
    before = edition.previous
    return {
        "hindrances": hindrances(document),
        "remarks": remarks(document, Names(document)),
        "before": before,
        "differences": compared(document_of(before), document, request.user.weight_unit) if before else None,
    }


@require_http_methods(GET_POST)
@draft_editor
def edition_publish(request, edition):
    """Read the differences, choose the day, publish."""
    document = document_of(edition)
    form = PublishForm(posted(request), content=document, initial={"in_force_from": edition.in_force_from})
    status = 200
    if request.method == "POST":
        status = _published(request, edition, form)
        if status == 302:
            messages.success(request, f"{edition} is published. Looks of that day and later are graded by it.")
            return redirect("profile-detail", edition.pk)
        document = document_of(edition)
    context = {"edition": edition, "form": form} | _standing(request, edition, document)
    return render(request, "grading/edition_publish.html", context, status=status)


def _published(request, edition, form):
    if not form.is_valid():
        return 422
    given = form.cleaned_data
    try:
        actions.publish(profile=edition, in_force_from=given["in_force_from"], seen=given["seen"], by=request.user)
    except StalePage as stale:
        form.add_error(None, stale)
        form.see_again(document_of(edition))
        return 409
    except ValidationError as error:
        refuse(form, error)
        return 409 if getattr(error, "code", "") == "profile_published" else 422
    return 302


@require_http_methods(GET_POST)
@officers_only
def edition_withdraw(request, pk):
    """Ask, then make a published edition a draft again, as long as no look was graded by it."""
    edition = _published_edition(pk)
    looks = Look.objects.filter(profile=edition).count()
    if request.method == "POST":
        try:
            actions.withdraw(profile=edition, by=request.user)
        except ValidationError as error:
            messages.error(request, " ".join(error.messages))
            return redirect("profile-detail", pk)
        messages.success(request, f"{edition} is a draft again.")
        return redirect("profile-edit", pk)
    context = {
        "title": f"Withdraw {edition}",
        "text": f"The edition becomes a draft again and can be changed. {_used(looks)}",
        "caution": "Looks keep the edition they were graded by, so it stays published." if looks else "",
        "confirm_label": "Withdraw it",
        "cancel_url": edition.get_absolute_url(),
        "danger": True,
    }
    return render(request, "confirm.html", context)


def _used(looks):
    return (
        f"{count_words(looks, 'look')} used it, so this will be refused." if looks else "No look was graded by it yet."
    )


def _published_edition(pk):
    return get_object_or_404(editions().filter(published_at__isnull=False), pk=pk)


@require_http_methods(GET_POST)
@officers_only
def edition_end(request, pk):
    """Set the last day of a published edition, or take it away."""
    edition = _published_edition(pk)
    form = EndForm(posted(request), initial={"in_force_until": edition.in_force_until})
    if request.method == "POST" and form.is_valid():
        ended = carried_out(form, actions.end_edition, profile=edition, by=request.user, **form.cleaned_data)
        if ended:
            messages.success(request, f"{edition} is in force {actions.ends_words(ended)}.")
            return redirect("profile-detail", pk)
    context = {"edition": edition, "form": form}
    return render(request, "grading/edition_end.html", context, status=422 if form.errors else 200)


@require_http_methods(GET_POST)
@draft_editor
def edition_delete(request, edition):
    """Ask, then delete a draft."""
    if edition.published_at:
        raise Http404
    if request.method == "POST":
        try:
            actions.delete_draft(profile=edition, by=request.user)
        except ValidationError as error:
            messages.error(request, " ".join(error.messages))
            return redirect("profile-edit", edition.pk)
        messages.success(request, f"The draft {edition} is deleted.")
        return redirect("profile-list")
    context = {
        "title": f"Delete the draft {edition}",
        "text": "Everything that was changed in it is lost. Published editions, traits and findings stay.",
        "confirm_label": "Delete the draft",
        "cancel_url": edition.get_absolute_url(),
        "danger": True,
    }
    return render(request, "confirm.html", context)
