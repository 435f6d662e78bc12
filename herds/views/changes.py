"""What was changed of an animal, a herd or a mentor grant, on its own page."""

from django.db.models import Q
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_safe

from clubsite.members.models import Audience, Change
from clubsite.members.views.changes import changes_page, groups_for
from herds.models import Animal, Grant, Herd

OF_ANIMALS = (Audience.IDENTITY, Audience.KEEPERS, Audience.LOOK)


@require_safe
def animal_changes(request, pk):
    """The registrar reads what concerns identity; its keepers also what their herd logged."""
    who = Q() if request.user.is_registrar else Q(herd__in=Herd.objects.kept_by(request.user))
    animal = get_object_or_404(Animal.objects.visible_to(request.user).filter(who), pk=pk)
    changes = Change.objects.visible_to(request.user).filter(animal_id=animal.pk)
    return changes_page(
        request,
        changes,
        title=f"Changes of {animal}",
        up_url=animal.get_absolute_url(),
        up_label=animal,
        groups=groups_for(request.user, OF_ANIMALS),
    )


@require_safe
def herd_changes(request, slug):
    """Everything that was changed in a herd while it stood there, for its keepers."""
    herd = get_object_or_404(Herd.objects.kept_by(request.user), slug=slug)
    changes = Change.objects.visible_to(request.user).filter(herd_id=herd.pk)
    return changes_page(
        request,
        changes,
        title=f"Changes in {herd}",
        up_url=herd.get_absolute_url(),
        up_label=herd,
        groups=groups_for(request.user, (*OF_ANIMALS, Audience.GRANT)),
    )


@require_safe
def grant_changes(request, pk):
    """How a mentor grant came about and was changed, for the herd's keepers and the mentor."""
    grant = get_object_or_404(Grant.objects.visible_to(request.user).select_related("herd", "mentor"), pk=pk)
    changes = Change.objects.visible_to(request.user).of(grant)
    return changes_page(
        request,
        changes,
        title=f"Changes of the grant of {grant.mentor} for {grant.herd}",
        up_url=reverse("grant-list"),
        up_label="Mentor grants",
        groups=groups_for(request.user, (Audience.GRANT,)),
    )
