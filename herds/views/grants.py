"""Mentor grants: given by owners, read by both sides, ended by either."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from clubsite.forms import carried_out, posted
from clubsite.members.mail import send_letter
from clubsite.members.sent_once import sent_once
from herds.actions import grants as actions
from herds.actions.animal_grants import revoke_animal_grant
from herds.forms.herds import GrantForm, NewGrantForm
from herds.models import AnimalGrant, Grant, Herd

ENDED_SHOWN = 30


@require_safe
def grant_list(request):
    """Whom I let into my herds, whose herds are open to me, and what ended."""
    grants = Grant.objects.visible_to(request.user).select_related("herd", "mentor", "granted_by")
    today = timezone.localdate()
    running = list(grants.running(today).order_by("ends_on", "pk"))
    ended = grants.exclude(pk__in=[grant.pk for grant in running]).order_by("-ends_on", "-pk")
    context = {
        "given": [grant for grant in running if grant.mentor_id != request.user.pk],
        "received": [grant for grant in running if grant.mentor_id == request.user.pk],
        "ended": ended[:ENDED_SHOWN],
        "herds": Herd.objects.editable_by(request.user).filter(closed_on__isnull=True),
        "animals": list(
            AnimalGrant.objects.running(today)
            .visible_to(request.user)
            .select_related("animal", "herd", "mentor", "granted_by")
            .order_by("mentor", "ends_on", "pk")
        ),
        "today": today,
    }
    return render(request, "herds/grant_list.html", context)


@require_http_methods(["GET", "POST"])
@sent_once
def grant_create(request, slug):
    """Open a herd to a mentor; `?mentor=` chooses one to begin with, for a grant that is given anew."""
    herd = get_object_or_404(Herd.objects.editable_by(request.user), slug=slug)
    initial = {"ends_on": actions.default_end(), "mentor": request.GET.get("mentor")}
    form = NewGrantForm(posted(request), herd=herd, by=request.user, initial=initial)
    if form.is_valid():
        grant = carried_out(form, actions.grant_herd, herd=herd, by=request.user, **form.cleaned_data)
        if grant:
            transaction.on_commit(lambda: _tell(request, grant))
            messages.success(request, f"{grant.mentor} sees {herd} until {grant.ends_on:%-d %B %Y}.")
            return redirect("grant-list")
    return render(request, "herds/grant_form.html", {"form": form, "herd": herd}, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
def grant_update(request, pk):
    """Another end date, or renewal of a grant that ran out."""
    grant = get_object_or_404(
        Grant.objects.editable_by(request.user).select_related("herd", "mentor"), pk=pk, revoked_at__isnull=True
    )
    ran_out = grant.ends_on < timezone.localdate()
    form = GrantForm(posted(request), instance=grant, initial={"ends_on": actions.default_end()} if ran_out else None)
    if form.is_valid() and carried_out(form, actions.change_grant, grant=grant, by=request.user, **form.cleaned_data):
        until = form.cleaned_data["ends_on"]
        messages.success(request, f"{grant.mentor} sees {grant.herd} until {until:%-d %B %Y}.")
        return redirect("grant-list")
    context = {"form": form, "herd": grant.herd, "grant": grant, "ran_out": ran_out}
    return render(request, "herds/grant_form.html", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
def grant_revoke(request, pk):
    """End a grant at once; GET asks first. The mentor may hand it back."""
    grants = Grant.objects.visible_to(request.user).select_related("herd", "mentor")
    grant = get_object_or_404(grants, pk=pk, revoked_at__isnull=True)
    own = grant.mentor_id == request.user.pk
    if request.method == "POST":
        try:
            actions.revoke_grant(grant=grant, by=request.user)
            said = f"You see {grant.herd} no longer." if own else f"{grant.mentor} sees {grant.herd} no longer."
            messages.success(request, said)
        except ValidationError as error:
            messages.error(request, " ".join(error.messages))
        return redirect("grant-list")
    context = {
        "title": f"Hand back the grant for {grant.herd}?" if own else f"Revoke the grant of {grant.mentor}?",
        "text": f"From now on {'you see' if own else f'{grant.mentor} sees'} of {grant.herd} only what it shares with "
        "the club. Looks and advice that were written stay.",
        "confirm_label": "Hand it back" if own else "Revoke now",
        "cancel_url": reverse("grant-list"),
        "danger": True,
    }
    return render(request, "confirm.html", context)


@require_http_methods(["GET", "POST"])
def animal_grant_revoke(request, pk):
    """Close one animal to its mentor, or hand it back; GET asks first."""
    grants = AnimalGrant.objects.visible_to(request.user).select_related("animal", "herd", "mentor")
    grant = get_object_or_404(grants, pk=pk)
    own = grant.mentor_id == request.user.pk
    if request.method == "POST":
        try:
            revoke_animal_grant(grant=grant, by=request.user)
            said = f"You see {grant.animal} no longer." if own else f"{grant.mentor} sees {grant.animal} no longer."
            messages.success(request, said)
        except ValidationError as error:
            messages.error(request, " ".join(error.messages))
        return redirect("grant-list")
    context = {
        "title": f"Hand back the grant for {grant.animal}?" if own else f"Close {grant.animal} to {grant.mentor}?",
        "text": f"From now on {'you see' if own else f'{grant.mentor} sees'} of {grant.animal} only what {grant.herd} "
        "shares with the club. A review of it cannot be finished then. Looks and advice that were written stay.",
        "confirm_label": "Hand it back" if own else "Close it now",
        "cancel_url": reverse("grant-list"),
        "danger": True,
    }
    return render(request, "confirm.html", context)


def _tell(request, grant):
    context = {"grant": grant, "by": request.user, "link": request.build_absolute_uri(reverse("grant-list"))}
    send_letter("herds/mail/grant_given.txt", grant.mentor.email, context)
