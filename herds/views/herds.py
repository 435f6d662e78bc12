"""Herds begin, change their sharing, and gain and lose owners here; their page is in herd.py."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from clubsite.forms import carried_out, differing, posted, refuse
from clubsite.members.mail import send_letter
from clubsite.members.sent_once import sent_once
from clubsite.versions import StalePage
from herds.actions import herds as actions
from herds.forms.herds import HerdForm, OwnerForm
from herds.models import Herd, Ownership


def kept_herd(request, slug):
    """The herd, for one of its keepers; for others there is no such page."""
    return get_object_or_404(Herd.objects.editable_by(request.user), slug=slug)


@require_http_methods(["GET", "POST"])
@sent_once
def herd_create(request):
    form = HerdForm(posted(request), initial={"region": request.user.region})
    if form.is_valid():
        form.cleaned_data.pop("version")
        if herd := carried_out(form, actions.create_herd, by=request.user, **form.cleaned_data):
            messages.success(request, f"{herd} is in the registry. Add its animals next.")
            return redirect(herd)
    return render(request, "herds/herd_form.html", {"form": form}, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
def herd_update(request, slug):
    """Name, place and sharing; what another owner saved meanwhile is shown and not overwritten."""
    herd = kept_herd(request, slug)
    form = HerdForm(posted(request), instance=herd)
    status, saved = _save(request, form, slug) if form.is_bound else (200, [])
    if status == 302:
        messages.success(request, f"{herd} is saved.")
        return redirect("herd-detail", slug=slug)
    return render(request, "herds/herd_form.html", {"form": form, "herd": herd, "saved": saved}, status=status)


def _save(request, form, slug):
    """(status, saved values that differ): 302 when saved, 409 when another owner was first, 422 when refused."""
    if not form.is_valid():
        return 422, []
    try:
        actions.change_herd(herd=kept_herd(request, slug), by=request.user, **form.cleaned_data)
    except StalePage as stale:
        now = kept_herd(request, slug)
        form.add_error(None, stale)
        form.data = form.data.copy()
        form.data["version"] = now.version
        return 409, differing(form, now)
    except ValidationError as error:
        refuse(form, error)
        return 422, []
    return 302, []


@require_http_methods(["GET", "POST"])
def herd_owners(request, slug):
    """Who owns the herd and who did; owners add others here."""
    herd = kept_herd(request, slug)
    form = OwnerForm(posted(request))
    if form.is_valid():
        ownership = carried_out(form, actions.add_owner, herd=herd, by=request.user, **form.cleaned_data)
        if ownership:
            _tell(request, "herds/mail/owner_added.txt", ownership)
            messages.success(request, f"{ownership.member} owns {herd} with you from today on.")
            return redirect("herd-owners", slug=slug)
    ownerships = herd.ownerships.select_related("member", "added_by").order_by("since", "pk")
    context = {
        "herd": herd,
        "form": form,
        "owners": [row for row in ownerships if row.until is None],
        "former": [row for row in ownerships if row.until is not None],
    }
    return render(request, "herds/herd_owners.html", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
def owner_end(request, slug, pk):
    """Leave a herd, or take another owner out; GET asks first."""
    herd = kept_herd(request, slug)
    ownership = get_object_or_404(Ownership.objects.select_related("member"), pk=pk, herd=herd, until__isnull=True)
    own = ownership.member == request.user
    if request.method == "POST":
        return _ended(request, herd, ownership, own)
    context = {
        "title": f"Leave {herd}?" if own else f"Take {ownership.member} out of {herd}?",
        "text": "You will see only what the herd shares with the club. The other owners go on."
        if own
        else f"{ownership.member} will see only what the herd shares with the club. The records stay in the herd.",
        "caution": "Only one of the remaining owners can add you again." if own else "",
        "confirm_label": "Leave the herd" if own else "Take out",
        "cancel_url": reverse("herd-owners", args=[slug]),
        "danger": True,
    }
    return render(request, "confirm.html", context)


def _ended(request, herd, ownership, own):
    try:
        actions.end_ownership(ownership=ownership, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("herd-owners", slug=herd.slug)
    if not own:
        _tell(request, "herds/mail/owner_removed.txt", ownership)
    messages.success(request, f"You left {herd}." if own else f"{ownership.member} owns {herd} no longer.")
    return redirect("herd-list" if own else reverse("herd-owners", args=[herd.slug]))


@require_http_methods(["GET", "POST"])
def herd_close(request, slug):
    """Rabbits are kept here no longer; GET asks first."""
    herd = kept_herd(request, slug)
    if request.method == "POST":
        try:
            actions.close_herd(herd=herd, by=request.user)
            messages.success(request, f"{herd} is closed since {timezone.localdate():%-d %B %Y}.")
        except ValidationError as error:
            messages.error(request, " ".join(error.messages))
        return redirect(herd)
    context = {
        "title": f"Close {herd}?",
        "text": "It goes out of the club's list of herds, and grants for it end. Its animals' cards and all records "
        "stay, and you can open it again.",
        "confirm_label": "Close the herd",
        "cancel_url": reverse("herd-update", args=[slug]),
    }
    return render(request, "confirm.html", context)


@require_POST
def herd_reopen(request, slug):
    herd = actions.reopen_herd(herd=kept_herd(request, slug), by=request.user)
    messages.success(request, f"{herd} is open again.")
    return redirect(herd)


def _tell(request, letter, ownership):
    """Write to the member that their share in a herd began or ended; the page does not wait for the answer."""
    context = {"ownership": ownership, "by": request.user, "link": request.build_absolute_uri(reverse("herd-list"))}
    send_letter(letter, ownership.member.email, context)
