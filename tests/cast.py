"""One cast of people for every access test: keeper, co-owner, fellow, mentors, registrar, officer, grader, visitor."""

from dataclasses import dataclass
from datetime import timedelta

from django.test import Client
from django.utils import timezone

from clubsite.members.models import Member
from herds.models import Animal, Herd

from .factories import make_animal, make_grant, make_herd, make_member

PEOPLE = (
    "keeper",
    "co_owner",
    "fellow",
    "mentor",
    "revoked_mentor",
    "registrar",
    "officer",
    "grader",
    "visitor",
)


@dataclass
class Cast:
    """The keeper's herd with a sire, a dam and their daughter; the fellow's herd with one buck."""

    keeper: Member
    co_owner: Member
    fellow: Member
    mentor: Member
    revoked_mentor: Member
    registrar: Member
    officer: Member
    grader: Member
    herd: Herd
    other_herd: Herd
    sire: Animal
    dam: Animal
    daughter: Animal
    other_buck: Animal
    visitor: None = None

    def client_of(self, who):
        """A test client signed in as one of PEOPLE; the visitor is not signed in."""
        client = Client()
        if who != "visitor":
            client.force_login(getattr(self, who), backend="allauth.account.auth_backends.AuthenticationBackend")
        return client


def make_cast():
    """Everybody and their rabbits; called once per test that asks for `cast`."""
    today = timezone.localdate()
    keeper = make_member("Ida Ashgrove")
    co_owner = make_member("Tomas Ashgrove")
    fellow = make_member("Rhea Millbrook")
    mentor = make_member("Anselm Oakhurst", takes_reviews=True)
    revoked = make_member("Berit Stonewell", takes_reviews=True)
    registrar = make_member("Cosmo Fairlie", is_registrar=True)
    officer = make_member("Dilys Marchmont", is_officer=True)
    grader = make_member("Edda Winslow", grader_until=today + timedelta(days=200))
    herd = make_herd(keeper, co_owner, name="Ashgrove", prefix="Ashgrove", region="North Vale")
    other_herd = make_herd(fellow, name="Millbrook", prefix="Millbrook", region="South Vale")
    make_grant(herd, mentor, keeper)
    make_grant(herd, revoked, keeper, revoked_at=timezone.now(), revoked_by=keeper)
    sire = make_animal(herd, "A1", sex="buck", name="Slate")
    dam = make_animal(herd, "A2", sex="doe", name="Birch")
    daughter = make_animal(herd, "A3", sex="doe", name="Alder", sire=sire, dam=dam, born_on=today - timedelta(days=300))
    other_buck = make_animal(other_herd, "M1", sex="buck", name="Flint")
    return Cast(
        keeper=keeper,
        co_owner=co_owner,
        fellow=fellow,
        mentor=mentor,
        revoked_mentor=revoked,
        registrar=registrar,
        officer=officer,
        grader=grader,
        herd=herd,
        other_herd=other_herd,
        sire=sire,
        dam=dam,
        daughter=daughter,
        other_buck=other_buck,
    )
