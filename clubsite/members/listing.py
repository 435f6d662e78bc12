"""The members' list: who is shown to whom, found by name or region, filtered by role, sorted."""

from django.db.models import F, Q
from django.db.models.functions import Lower
from django.utils import timezone

from .models import Member
from .places import PLACES, in_order

SORTS = {"name": Lower("name"), "region": Lower("region"), "joined": F("joined_at")}
ROLES = {
    "officer": ("Officers", Q(is_officer=True)),
    "registrar": ("Registrars", Q(is_registrar=True)),
    "mentor": ("Take mentor requests", Q(takes_reviews=True)),
    "grader": ("Trained graders", None),
}
OFFICERS_ROLES = {
    "youth": ("Youth accounts", Q(guardian__isnull=False)),
    "shut": ("Shut out", Q(is_active=False)),
}


def roles_for(viewer):
    """The filters that the viewer may use: {value: (words, condition)}."""
    return {**ROLES, **OFFICERS_ROLES} if viewer.is_officer else ROLES


def listed_members(viewer, *, words="", role="", sort="name"):
    """Members that the viewer may read of, with what other apps show of them fetched beforehand."""
    members = Member.objects.filter(closed_at__isnull=True).select_related("guardian")
    if not (viewer.is_officer and role == "shut"):
        members = members.filter(is_active=True)
    if role == "grader":
        members = members.filter(grader_until__gte=timezone.localdate())
    elif role in roles_for(viewer):
        members = members.filter(roles_for(viewer)[role][1])
    for word in words.split():
        found = Q(name__icontains=word) | Q(region__icontains=word)
        members = members.filter(found | Q(email__icontains=word) if viewer.is_officer else found)
    by = SORTS.get(sort.lstrip("-"), SORTS["name"])
    return with_parts(members.order_by(by.desc() if sort.startswith("-") else by.asc(), "pk"))


def with_parts(members):
    """What other apps show of members, fetched for the whole list at once."""
    for part in in_order(PLACES.parts):
        members = part.fetch(members)
    return members


def role_words(member, on):
    """The member's roles in words, for everybody to read."""
    words = []
    if member.is_officer:
        words.append("officer")
    if member.is_registrar:
        words.append("registrar")
    if member.is_grader(on):
        words.append("trained grader")
    if member.takes_reviews:
        words.append("takes mentor requests")
    return words
