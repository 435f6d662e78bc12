"""Grants for single animals: made when their owner asks a mentor about these and no others, revocable at once."""

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from clubsite.constraints import rules_explained
from clubsite.errors import NotYours
from herds.models import AnimalGrant, Herd


def open_animals(*, animals, mentor, ends_on, by):
    """Open these animals' photos to a mentor from today to `ends_on`; a grant that runs already is made longer.

    Their looks are closed to the mentor again until they have graded anew, since a look is to be blind. `by` is the
    owner who asked. Returns the grants.
    """
    today = timezone.localdate()
    with rules_explained():
        earlier = {
            grant.animal_id: grant
            for grant in AnimalGrant.objects.select_for_update().filter(
                animal__in=animals, mentor=mentor, revoked_at__isnull=True
            )
        }
        grants = []
        for animal in animals:
            grant = earlier.get(animal.pk)
            if grant is not None and grant.herd_id == animal.herd_id and grant.is_running(today):
                grant.ends_on, grant.with_looks, grant.may_grade = max(grant.ends_on, ends_on), False, True
                grant.save(update_fields=["ends_on", "with_looks", "may_grade"])
            else:
                if grant is not None:  # it ran out, or an earlier owner gave it: the row is free for the new one
                    _revoke([grant], by)
                grant = AnimalGrant.objects.create(
                    animal=animal, herd_id=animal.herd_id, mentor=mentor, granted_by=by, ends_on=ends_on
                )
            grants.append(grant)
    return grants


def close_animals(*, animals, mentor, by):
    """End the mentor's grants for these animals; returns how many ended."""
    open_ones = AnimalGrant.objects.filter(animal__in=animals, mentor=mentor, revoked_at__isnull=True)
    return _revoke(open_ones, by)


def revoke_animal_grant(*, grant, by):
    """Close the animal to the mentor at once. Its owners may, and the mentor may hand it back."""
    mine = Q(herd__in=Herd.objects.editable_by(by)) | Q(mentor=by.pk)
    with transaction.atomic():
        grant = AnimalGrant.objects.filter(mine, pk=grant.pk).select_for_update(of=("self",)).first()
        if grant is None:
            raise NotYours
        if grant.revoked_at is not None:
            raise ValidationError(f"The grant for {grant.mentor} was already revoked.")
        _revoke([grant], by)
    return grant


def _revoke(grants, by):
    """`grants` is a queryset, or a list of rows."""
    if isinstance(grants, list):
        grants = AnimalGrant.objects.filter(pk__in=[grant.pk for grant in grants])
    return grants.update(revoked_at=timezone.now(), revoked_by=by)
