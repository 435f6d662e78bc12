from allauth.account.utils import perform_login
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.db import transaction
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clubsite.forms import carried_out, posted

from ..actions import invitations as actions
from ..forms import AcceptForm, InvitationForm
from ..guards import officers_only
from ..mail import send_letter
from ..models import Invitation
from ..sent_once import sent_once

SHOWN_ONCE = "invitation_links"


@require_safe
@officers_only
def invitation_list(request):
    """Who was invited, and what became of it; `now` tells open from expired."""
    invitations = Invitation.objects.select_related("invited_by", "accepted_by", "guardian")
    return render(request, "members/invitation_list.html", {"invitations": invitations, "now": timezone.now()})


@require_http_methods(["GET", "POST"])
@officers_only
@sent_once
def invitation_create(request):
    form = InvitationForm(posted(request))
    if form.is_valid():
        made = carried_out(form, actions.invite, by=request.user, **form.cleaned_data)
        if made:
            return _hand_over(request, *made)
    return render(request, "members/invitation_form.html", {"form": form}, status=422 if form.errors else 200)


@require_safe
@never_cache
@officers_only
def invitation_detail(request, pk):
    """One invitation; its link is shown on the first visit after it was made, and never again."""
    invitation = get_object_or_404(Invitation.objects.select_related("invited_by", "accepted_by", "guardian"), pk=pk)
    link = _shown_once(request, invitation)
    context = {"invitation": invitation, "link": link, "now": timezone.now()}
    return render(request, "members/invitation_detail.html", context)


@require_POST
@officers_only
def invitation_resend(request, pk):
    invitation = get_object_or_404(Invitation, pk=pk)
    try:
        return _hand_over(request, *actions.resend(invitation=invitation, by=request.user))
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("invitation-list")


@require_POST
@officers_only
def invitation_withdraw(request, pk):
    invitation = get_object_or_404(Invitation, pk=pk)
    try:
        actions.withdraw(invitation=invitation, by=request.user)
        messages.success(request, f"The invitation to {invitation.email} was withdrawn. Its link opens nothing now.")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("invitation-list")


@require_POST
@officers_only
def invitation_forget(request, pk):
    invitation = get_object_or_404(Invitation, pk=pk)
    try:
        actions.forget(invitation=invitation, by=request.user)
        messages.success(request, "The invitation and its address are deleted.")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("invitation-list")


@login_not_required
@never_cache
@sensitive_post_parameters("password", "again")
@require_http_methods(["GET", "POST"])
def invitation_accept(request, token):
    """The door: whoever holds an open link makes their account here and is signed in."""
    if request.user.is_authenticated:
        return render(request, "members/invitation_signed_in.html", status=409)
    try:
        invitation = actions.open_invitation(token)
        form = AcceptForm(posted(request), email=invitation.email, initial={"name": invitation.name})
        if form.is_valid() and (member := _accepted(form, token)):
            return _welcome(request, member)
    except actions.InvitationGone:
        known = Invitation.objects.for_token(token).exists()
        return render(request, "members/invitation_gone.html", status=410 if known else 404)
    context = {"form": form, "invitation": invitation}
    return render(request, "members/invitation_accept.html", context, status=422 if form.errors else 200)


def _accepted(form, token):
    given = {name: form.cleaned_data[name] for name in ("name", "region", "password", "weight_unit")}
    return carried_out(form, actions.accept, token=token, **given)


def _welcome(request, member):
    messages.success(request, f"Welcome, {member.get_short_name()}. Add your herd, then its animals.")
    return perform_login(request, member, email_verification="none", email=member.email)


def _hand_over(request, invitation, token):
    """Post the link, and keep it for the one page that shows it to the officer."""
    link = request.build_absolute_uri(reverse("invitation-accept", args=[token]))
    request.session[SHOWN_ONCE] = {str(invitation.pk): link}
    transaction.on_commit(lambda: _post(request, invitation, link))
    return redirect("invitation-detail", pk=invitation.pk)


def _post(request, invitation, link):
    if send_letter("members/mail/invitation.txt", invitation.email, {"invitation": invitation, "link": link}):
        messages.success(request, f"The invitation was sent to {invitation.email}.")
    else:
        messages.warning(request, "The e-mail could not be sent. Copy the link below and pass it on yourself.")


def _shown_once(request, invitation):
    return request.session.pop(SHOWN_ONCE, {}).get(str(invitation.pk), "")
