"""Roles, profiles, and how people leave."""

from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from clubsite.constraints import rules_explained
from clubsite.errors import NotYours

from ..models import Invitation, Member, Submission
from ..places import PLACES, in_order
from ..regions import clean_region

LAST_OFFICER = "The club needs an officer. Make another member officer first."


def change_profile(*, member, name, region, weight_unit, news_by="", takes_reviews=False, by):
    """Members change their own profile; the name is kept free of stray blanks."""
    if by != member:
        raise NotYours
    with rules_explained():
        member = _locked(member)
        member.name = " ".join(name.split())
        member.region = clean_region(region)
        member.weight_unit = weight_unit
        member.news_by = news_by or member.news_by
        member.takes_reviews = bool(takes_reviews) and not member.is_youth
        member.full_clean(exclude=["password", "guardian"])
        member.save(update_fields=["name", "region", "weight_unit", "news_by", "takes_reviews"])
    return member


def change_roles(*, member, is_officer, is_registrar, guardian, by):
    """Give and take roles; the last officer stays one, and a youth holds none."""
    _must_be_officer(by)
    with rules_explained():
        _lock_officers()
        member = _locked(member)
        if member.closed_at:
            raise NotYours
        if guardian is not None:
            _check_guardian(member, guardian)
            if is_officer or is_registrar:
                raise ValidationError({"guardian": "A youth account cannot be officer or registrar."})
        if not is_officer:
            _keep_an_officer(member)
        member.is_officer = is_officer
        member.is_registrar = is_registrar
        member.guardian = guardian
        if guardian is not None:
            member.takes_reviews = False
        member.save(update_fields=["is_officer", "is_registrar", "guardian", "takes_reviews"])
    return member


def deactivate(*, member, by):
    """Shut a member out until an officer lets them in again; everything of theirs stays as it is."""
    _must_be_officer(by)
    with transaction.atomic():
        _lock_officers()
        member = _locked(member)
        if member == by:
            raise ValidationError("You cannot shut yourself out. Ask another officer.")
        _keep_an_officer(member)
        _answers_for_nobody(member)
        member.is_active = False
        member.save(update_fields=["is_active"])
        end_sessions(member)
    return member


def reactivate(*, member, by):
    """Let a member in again; a closed account stays closed."""
    _must_be_officer(by)
    with transaction.atomic():
        member = _locked(member)
        if member.closed_at:
            raise NotYours
        member.is_active = True
        member.save(update_fields=["is_active"])
    return member


def hindrances(member):
    """Sentences that say why the account cannot be closed yet; empty when it can."""
    found = []
    for check in (_keep_an_officer, _answers_for_nobody):
        try:
            check(member)
        except ValidationError as error:
            found += error.messages
    return found + [text for place in in_order(PLACES.leavings) if (text := place.hindrance(member))]


def close_account(*, member, by):
    """Close for good: the person's name and e-mail go, what other members' records need stays.

    Members close their own account; an officer may close one that was shut out before.
    """
    with transaction.atomic():
        _lock_officers()
        member = _locked(member)
        if member.closed_at or not (by == member or (by.is_active and by.is_officer and not member.is_active)):
            raise NotYours
        if reasons := hindrances(member):
            raise ValidationError(reasons)
        for place in in_order(PLACES.leavings):
            place.carry_out(member, by)
        end_sessions(member)
        gone = f"closed-{member.pk}@invalid"
        EmailAddress.objects.filter(user=member).delete()
        Authenticator.objects.filter(user=member).delete()
        Submission.objects.filter(member=member).delete()
        Invitation.objects.filter(accepted_by=member).update(email=gone, name="")
        member.email = gone
        member.name = member.region = ""
        member.is_active = member.is_officer = member.is_registrar = member.takes_reviews = False
        member.guardian = None
        member.grader_until = None
        member.closed_at = timezone.now()
        member.set_unusable_password()
        member.save()
    return member


def end_sessions(member):
    """Sign the member out everywhere."""
    for session in UserSession.objects.filter(user=member):
        session.end()


def _must_be_officer(by):
    if not (by.is_active and by.is_officer):
        raise NotYours


def _locked(member):
    return Member.objects.select_for_update().get(pk=member.pk)


def _lock_officers():
    """Lock the officers' rows, before any other and always in the same order, so that two cannot both step down."""
    list(_officers().select_for_update().order_by("pk").values_list("pk"))


def _officers():
    return Member.objects.filter(is_officer=True, is_active=True)


def _keep_an_officer(member):
    if member.is_officer and member.is_active and not _officers().exclude(pk=member.pk).exists():
        raise ValidationError(LAST_OFFICER, code="last_officer")


def _answers_for_nobody(member):
    youths = ", ".join(member.youths.filter(is_active=True).order_by("name").values_list("name", flat=True))
    if youths:
        raise ValidationError(
            f"{member} answers as guardian for {youths}. An officer must name another guardian first.", code="guardian"
        )


def _check_guardian(member, guardian):
    if guardian == member:
        raise ValidationError({"guardian": "A youth cannot be their own guardian. Choose an adult member."})
    if not guardian.is_active or guardian.is_youth:
        raise ValidationError({"guardian": f"{guardian} cannot be a guardian. Choose an adult member."})
    if member.youths.filter(is_active=True).exists():
        raise ValidationError({"guardian": f"{member} is a guardian, and so an adult."})
