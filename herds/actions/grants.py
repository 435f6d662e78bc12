"""A mentor grant opens one herd to one adult member for a time; it is revocable at once."""

from datetime import timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from clubsite.constraints import rules_explained
from clubsite.errors import NotYours
from clubsite.members.models import Club
from herds.models import Grant, Herd

LONGEST_DAYS = 730  # common practice, no source: a grant is asked for again after two years at most


def default_end(today=None):
    """The last day of a grant made today, by the club's settings."""
    return (today or timezone.localdate()) + timedelta(days=Club.current().grant_days)


def grant_herd(*, herd, mentor, ends_on, may_grade=True, with_log=False, with_health=False, note="", by):
    """Open the herd's looks and photos to a mentor from today to `ends_on`, both days included."""
    _must_keep(herd, by)
    with rules_explained():
        herd = Herd.objects.select_for_update().get(pk=herd.pk)
        check_mentor(herd, mentor, by)
        check_end(ends_on)
        earlier = Grant.objects.filter(herd=herd, mentor=mentor, revoked_at__isnull=True).first()
        if earlier is not None and earlier.ends_on >= timezone.localdate():
            raise ValidationError(
                f"{mentor} already has a grant for {herd} until {earlier.ends_on:%-d %B %Y}. Change its end date."
            )
        if earlier is not None:  # it ran out: the row is free for the new one
            _revoke(earlier, by)
        grant = Grant(
            herd=herd,
            mentor=mentor,
            granted_by=by,
            ends_on=ends_on,
            may_grade=may_grade,
            with_log=with_log,
            with_health=with_health,
            note=note.strip(),
        )
        grant.full_clean()
        grant.save()
    return grant


def change_grant(*, grant, ends_on, may_grade, with_log, with_health=False, note="", by):
    """Change what a grant opens and until when; one that had run out begins again today."""
    _must_keep(grant.herd, by)
    with rules_explained():
        grant = _locked(grant)
        _must_not_be_revoked(grant)
        check_mentor(grant.herd, grant.mentor, by)
        check_end(ends_on)
        if grant.ends_on < timezone.localdate():
            grant.starts_on = timezone.localdate()
        grant.ends_on, grant.may_grade, grant.note = ends_on, may_grade, note.strip()
        grant.with_log, grant.with_health = with_log, with_health
        grant.full_clean(exclude=["granted_by"])
        grant.save(update_fields=["starts_on", "ends_on", "may_grade", "with_log", "with_health", "note"])
    return grant


def revoke_grant(*, grant, by):
    """Close the herd to the mentor at once. Its owners may, and the mentor may hand it back."""
    if by.pk != grant.mentor_id:
        _must_keep(grant.herd, by)
    with transaction.atomic():
        grant = _locked(grant)
        _must_not_be_revoked(grant)
        _revoke(grant, by)
    return grant


def _revoke(grant, by):
    grant.revoked_at, grant.revoked_by = timezone.now(), by
    grant.save(update_fields=["revoked_at", "revoked_by"])


def _locked(grant):
    return Grant.objects.select_for_update(of=("self",)).select_related("herd", "mentor").get(pk=grant.pk)


def _must_not_be_revoked(grant):
    if grant.revoked_at is not None:
        raise ValidationError(f"The grant for {grant.mentor} was already revoked. Make a new one.")


def _must_keep(herd, by):
    if not Herd.objects.editable_by(by).filter(pk=herd.pk).exists():
        raise NotYours


def check_mentor(herd, mentor, by):
    if mentor.is_youth or not mentor.is_active:
        raise ValidationError({"mentor": "A mentor is an adult member of the club. Choose another member."})
    if mentor == by or Herd.objects.kept_by(mentor).filter(pk=herd.pk).exists():
        raise ValidationError({"mentor": f"{mentor} keeps this herd and sees everything in it already."})


def check_end(ends_on):
    today = timezone.localdate()
    if ends_on < today:
        raise ValidationError({"ends_on": "This day is past. Choose today or a later one; to end a grant, revoke it."})
    if ends_on > today + timedelta(days=LONGEST_DAYS):
        raise ValidationError({"ends_on": "A grant lasts two years at most. Choose an earlier day, and renew it then."})
