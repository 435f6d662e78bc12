"""Herds and who keeps them: a herd has an owner from its first day to its last."""

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.text import slugify

from clubsite.constraints import rules_explained
from clubsite.errors import NotYours
from clubsite.members.models import Audience, Change, Member
from clubsite.members.regions import clean_region
from herds.models import AnimalGrant, Grant, Herd, Ownership, Transfer
from herds.models.animal import PRESENT
from herds.models.herd import SHARES

TAKEN_BY_PAGES = {"new"}
NO_SUCH_MEMBER = (
    "No adult member of the club has this e-mail address. Ask them which address they sign in with, "
    "or ask an officer to invite them."
)


def create_herd(*, by, name, prefix="", **values):
    """A new herd with `by` as its owner."""
    with rules_explained():
        herd = Herd(name=_one_space(name), prefix=_one_space(prefix), slug=free_slug(name), **values)
        herd.region = clean_region(herd.region)
        herd.full_clean()
        herd.save()
        Ownership.objects.create(herd=herd, member=by, added_by=by)
    return herd


def change_herd(*, herd, version, by, **values):
    """Change the herd's name, words or sharing; raises StalePage when somebody else was first."""
    _must_keep(herd, by)
    with rules_explained():
        for name, value in values.items():
            setattr(herd, name, value)
        herd.name, herd.prefix = _one_space(herd.name), _one_space(herd.prefix)
        herd.region = clean_region(herd.region)
        herd.full_clean()
        herd.save_version(version, list(values))
    return herd


def add_owner(*, herd, email, by):
    """Another adult member keeps the herd too, from today on; a mentor grant they had for it ends."""
    _must_keep(herd, by)
    member = Member.objects.adults().filter(email__iexact=email.strip()).first()
    if member is None:
        raise ValidationError({"email": NO_SUCH_MEMBER})
    with rules_explained():
        _lock(herd)
        if herd.ownerships.filter(member=member, until__isnull=True).exists():
            raise ValidationError({"email": f"{member} already owns this herd."})
        ownership = Ownership.objects.create(herd=herd, member=member, added_by=by)
        _close_to_mentors(by, herd=herd, mentor=member)
    return ownership


def end_ownership(*, ownership, by):
    """An owner leaves the herd, or is taken out by another; the last one stays."""
    herd = ownership.herd
    _must_keep(herd, by)
    with transaction.atomic():
        _lock(herd)
        ownership = Ownership.objects.select_related("member").get(pk=ownership.pk)
        if ownership.until is not None:
            raise ValidationError(f"{ownership.member} has already left this herd.")
        others = herd.ownerships.filter(until__isnull=True, member__is_active=True).exclude(pk=ownership.pk)
        if not others.exists():
            raise ValidationError(f"{herd} needs an owner. Add another one first, or close the herd.")
        ownership.until = timezone.localdate()
        ownership.save(update_fields=["until"])
    return ownership


def close_herd(*, herd, by):
    """The owners keep rabbits here no longer: the herd goes out of the club's lists, its cards and records stay."""
    _must_keep(herd, by)
    with transaction.atomic():
        herd = _lock(herd)
        if left := herd.animals.filter(status__in=PRESENT).count():
            raise ValidationError(
                f"{left} {'animal stands' if left == 1 else 'animals stand'} in {herd} today. "
                "Say first what became of them, or transfer them."
            )
        herd.closed_on = timezone.localdate()
        herd.save_version(None, ["closed_on"])
        _close_to_mentors(by, herd=herd)
    return herd


def reopen_herd(*, herd, by):
    """Rabbits are kept here again."""
    _must_keep(herd, by)
    herd.closed_on = None
    herd.save_version(None, ["closed_on"])
    return herd


def leave_all_herds(*, member, by):
    """What happens to a member's herds when their account is closed; runs inside that transaction.

    Co-owned herds go on; a youth's herds go to the guardian; of the others the animals leave the club, and only their
    registry cards stay readable.
    """
    today = timezone.localdate()
    for ownership in member.ownerships.filter(until__isnull=True).select_related("herd").order_by("herd_id"):
        herd = _lock(ownership.herd)
        ownership.until = today
        ownership.save(update_fields=["until"])
        if herd.ownerships.filter(until__isnull=True).exists():
            continue
        if member.guardian is not None:
            Ownership.objects.create(herd=herd, member=member.guardian, added_by=by)
        else:
            _wind_up(herd, today, by)
    _close_to_mentors(by, mentor=member)


def sole_and_shared(member):
    """(herds that only this member owns, herds that go on without them)."""
    herds = Herd.objects.filter(ownerships__member=member, ownerships__until__isnull=True).with_owners()
    sole: list = []
    shared: list = []
    for herd in herds:
        (shared if len(herd.current_ownerships) > 1 else sole).append(herd)
    return sole, shared


def free_slug(name):
    """An address for the herd's page that no other herd has."""
    stem = slugify(name)[:70] or "herd"
    taken = set(Herd.objects.filter(slug__startswith=stem).values_list("slug", flat=True)) | TAKEN_BY_PAGES
    return stem if stem not in taken else next(s for n in range(2, len(taken) + 3) if (s := f"{stem}-{n}") not in taken)


def _wind_up(herd, today, by):
    herd.animals.filter(status__in=PRESENT).update(status="outside", status_on=today, offered_to_club=False)
    open_transfers = Transfer.objects.open().filter(from_herd=herd) | Transfer.objects.open().filter(to_herd=herd)
    open_transfers.update(outcome=Transfer.Outcome.WITHDRAWN, settled_by=by, settled_at=timezone.now())
    herd.slug, herd.notes, herd.region, herd.closed_on = f"herd-{herd.pk}", "", "", today
    for shared in SHARES:
        setattr(herd, shared, False)
    herd.save()
    _close_to_mentors(by, herd=herd)
    # What was emptied must not stay readable as a change; nor earlier names, which may say who the keeper was.
    gone = Change.objects.filter(herd_id=herd.pk)
    gone.filter(Q(audience__in=[Audience.KEEPERS, Audience.GRANT]) | Q(label="herds.herd")).forget()


def _close_to_mentors(by, **which):
    """End the grants of herds and of single animals."""
    for grants in (Grant.objects, AnimalGrant.objects):
        grants.filter(**which, revoked_at__isnull=True).update(revoked_at=timezone.now(), revoked_by=by)


def _must_keep(herd, by):
    if not Herd.objects.editable_by(by).filter(pk=herd.pk).exists():
        raise NotYours


def _lock(herd):
    return Herd.objects.select_for_update().get(pk=herd.pk)


def _one_space(text):
    return " ".join(text.split())
