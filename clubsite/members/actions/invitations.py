"""Invitations are the only way into the club: made by an officer, used once, by one person."""

from datetime import timedelta

from allauth.account.models import EmailAddress
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from clubsite.constraints import rules_explained
from clubsite.errors import NotYours

from ..models import Club, Invitation, Member
from ..models.invitation import hashed
from ..regions import clean_region


class InvitationGone(Exception):
    """The link opens nothing: it was mistyped, used, withdrawn, or its time is over."""


def invite(*, email, name="", as_officer=False, as_registrar=False, guardian=None, by):
    """A new invitation and its token; only the token's hash is kept. `by` is None for the club's first officer."""
    _must_be_officer(by)
    email = email.strip().lower()
    if Member.objects.filter(email__iexact=email).exists():
        raise ValidationError({"email": "A member with this e-mail address is already in the club."})
    if guardian is not None and (as_officer or as_registrar):
        raise ValidationError({"guardian": "A youth account cannot be officer or registrar. Leave the roles empty."})
    token = Invitation.new_token()
    with rules_explained():
        # One officer's invitations wait for another's, so that an address has one open invitation.
        Club.objects.select_for_update().get(pk=Club.current().pk)
        if Invitation.objects.open().filter(email__iexact=email).exists():
            raise ValidationError(
                {"email": "An invitation to this address is still open. Send that one again, or withdraw it first."}
            )
        invitation = Invitation(
            email=email,
            name=" ".join(name.split()),
            as_officer=as_officer,
            as_registrar=as_registrar,
            guardian=guardian,
            invited_by=by,
            token_hash=hashed(token),
            expires_at=_expiry(),
        )
        invitation.full_clean(exclude=["invited_by"])
        invitation.save()
    return invitation, token


def resend(*, invitation, by):
    """A new token and a new period; the old link opens nothing from now on."""
    _must_be_officer(by)
    token = Invitation.new_token()
    with transaction.atomic():
        invitation = Invitation.objects.select_for_update().get(pk=invitation.pk)
        _must_be_unused(invitation)
        if Member.objects.filter(email__iexact=invitation.email).exists():
            raise ValidationError("A member with this e-mail address is already in the club.")
        others = Invitation.objects.open().filter(email__iexact=invitation.email).exclude(pk=invitation.pk)
        if others.exists():
            raise ValidationError("A newer invitation to this address is open. Send that one again.")
        invitation.token_hash = hashed(token)
        invitation.expires_at = _expiry()
        invitation.save(update_fields=["token_hash", "expires_at"])
    return invitation, token


def withdraw(*, invitation, by):
    """Close the door at once."""
    _must_be_officer(by)
    with transaction.atomic():
        invitation = Invitation.objects.select_for_update().get(pk=invitation.pk)
        _must_be_unused(invitation)
        invitation.withdrawn_at = timezone.now()
        invitation.save(update_fields=["withdrawn_at"])
    return invitation


def forget(*, invitation, by):
    """Delete an invitation that opens nothing any more, and with it the address of somebody who did not come."""
    _must_be_officer(by)
    with transaction.atomic():
        invitation = Invitation.objects.select_for_update().get(pk=invitation.pk)
        if invitation.accepted_at:
            raise ValidationError("This invitation has been accepted. It is kept with its member.")
        if invitation.withdrawn_at is None and invitation.expires_at > timezone.now():
            raise ValidationError("This invitation is still open. Withdraw it first.")
        invitation.delete()


def open_invitation(token, *, lock=False):
    """The invitation behind a link; raises InvitationGone, which says nothing of whom it was for."""
    rows = Invitation.objects.open().for_token(token).select_related("guardian")
    invitation = (rows.select_for_update(of=("self",)) if lock else rows).first()
    if invitation is None or Member.objects.filter(email__iexact=invitation.email).exists():
        raise InvitationGone
    if invitation.guardian is not None and not invitation.guardian.is_active:
        raise InvitationGone
    return invitation


def accept(*, token, name, region, password, weight_unit):
    """Make the member that the token invites; of two who hold the link, the second waits and finds it used."""
    with rules_explained():
        invitation = open_invitation(token, lock=True)
        member = Member(
            email=invitation.email,
            name=" ".join(name.split()),
            region=clean_region(region),
            weight_unit=weight_unit,
            is_officer=invitation.as_officer,
            is_registrar=invitation.as_registrar,
            guardian=invitation.guardian,
        )
        member.set_password(password)
        member.full_clean()
        member.save()
        EmailAddress.objects.create(user=member, email=member.email, verified=True, primary=True)
        invitation.accepted_at = timezone.now()
        invitation.accepted_by = member
        invitation.save(update_fields=["accepted_at", "accepted_by"])
    return member


def _expiry():
    return timezone.now() + timedelta(days=max(1, Club.current().invitation_days))


def _must_be_officer(by):
    if by is not None and not (by.is_active and by.is_officer):
        raise NotYours


def _must_be_unused(invitation):
    if invitation.accepted_at:
        raise ValidationError("This invitation has been accepted. The member is in the members' list.")
    if invitation.withdrawn_at:
        raise ValidationError("This invitation was withdrawn. Make a new one.")
