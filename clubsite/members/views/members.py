from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from clubsite.forms import carried_out, posted
from clubsite.htmx import page_or_part

from ..actions import members as actions
from ..forms import RolesForm
from ..guards import officers_only
from ..listing import listed_members, role_words, roles_for, with_parts
from ..models import Member
from ..places import PLACES, in_order

A_PAGE = 50


@require_safe
def member_list(request):
    """Every active member's name, region, roles and herds; officers see addresses too, and who was shut out."""
    words, role = request.GET.get("q", "").strip(), request.GET.get("role", "")
    sort = request.GET.get("sort", "name")
    found = listed_members(request.user, words=words, role=role, sort=sort)
    context = {
        "page": Paginator(found, A_PAGE).get_page(request.GET.get("page")),
        "parts": in_order(PLACES.parts),
        "roles": roles_for(request.user),
        "role": role,
        "words": words,
        "sort": sort,
        "today": timezone.localdate(),
    }
    return page_or_part(request, "members/member_list.html", "rows", context)


@require_safe
def member_detail(request, pk):
    """One member; who is a youth, and whose, is told to officers, the guardian and the youth."""
    members = Member.objects.filter(closed_at__isnull=True).select_related("guardian")
    if not request.user.is_officer:
        members = members.filter(is_active=True)
    member = get_object_or_404(with_parts(members), pk=pk)
    close_to = request.user.is_officer or request.user.pk in (member.pk, member.guardian_id)
    context = {
        "member": member,
        "parts": in_order(PLACES.parts),
        "role_words": role_words(member, timezone.localdate()),
        "close_to": close_to,
        "youths": member.youths.filter(is_active=True) if close_to else (),
    }
    return render(request, "members/member_detail.html", context)


@require_http_methods(["GET", "POST"])
@officers_only
def member_roles(request, pk):
    member = get_object_or_404(Member, pk=pk, closed_at__isnull=True)
    form = RolesForm(posted(request), instance=member)
    given = {"member": member, "by": request.user}
    if form.is_valid() and carried_out(form, actions.change_roles, **given, **form.cleaned_data):
        messages.success(request, f"The roles of {member} are saved.")
        return redirect(member)
    context = {"form": form, "member": member}
    return render(request, "members/member_roles.html", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
@officers_only
def member_deactivate(request, pk):
    """Shut somebody out; GET asks first."""
    member = get_object_or_404(Member, pk=pk, is_active=True)
    return _asked(
        request,
        member,
        actions.deactivate,
        title=f"Shut {member} out?",
        text=(
            f"{member} is signed out everywhere and cannot sign in until an officer opens the account again. "
            "Their herds and records stay as they are, and co-owners go on."
        ),
        confirm_label="Shut out",
        done=f"{member} is shut out.",
    )


@require_http_methods(["GET", "POST"])
@officers_only
def member_reactivate(request, pk):
    """Open a shut account again; GET asks first."""
    member = get_object_or_404(Member, pk=pk, is_active=False, closed_at__isnull=True)
    return _asked(
        request,
        member,
        actions.reactivate,
        title=f"Let {member} in again?",
        text=f"{member} can sign in with the password they had. Grants that ended meanwhile stay ended.",
        confirm_label="Let in again",
        done=f"{member} can sign in again.",
        danger=False,
    )


@require_http_methods(["GET", "POST"])
@officers_only
def member_close(request, pk):
    """Close a shut account for good, when the person asks for it or has died; GET asks first."""
    member = get_object_or_404(Member, pk=pk, is_active=False, closed_at__isnull=True)
    return _asked(
        request,
        member,
        actions.close_account,
        title=f"Close the account of {member} for good?",
        text=(
            "The name, the e-mail address and the region are taken out of the registry. The registry card of their "
            "animals stays, because pedigrees of other members need it; it names the herd, no longer the person."
        ),
        caution="This cannot be undone. They can take their data out only before it is closed.",
        confirm_label="Close for good",
        done="The account is closed.",
    )


def _asked(request, member, action, *, done, danger=True, **words):
    """A step that is confirmed on a page of its own, so that it works without script."""
    if request.method == "POST":
        try:
            action(member=member, by=request.user)
            messages.success(request, done)
        except ValidationError as error:
            messages.error(request, " ".join(error.messages))
        return redirect("member-list")
    return render(request, "confirm.html", {"danger": danger, "cancel_url": member.get_absolute_url(), **words})
