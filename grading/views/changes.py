"""What was changed of a finished look or of an edition, on its own page."""

from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_safe

from clubsite.members.guards import officers_only
from clubsite.members.models import Audience, Change
from clubsite.members.views.changes import changes_page, groups_for
from grading.models import BreedProfile, Look


@require_safe
def look_changes(request, pk):
    """For whoever may see the look."""
    look = get_object_or_404(Look.objects.visible_to(request.user).select_related("animal"), pk=pk)
    changes = Change.objects.visible_to(request.user).of(look)
    return changes_page(
        request,
        changes,
        title=f"Changes of the {look}",
        up_url=look.get_absolute_url(),
        up_label="The look",
        groups=groups_for(request.user, (Audience.LOOK,)),
    )


@require_safe
@officers_only
def profile_changes(request, pk):
    """When an edition was made, published and withdrawn, and by whom."""
    profile = get_object_or_404(BreedProfile, pk=pk)
    changes = Change.objects.visible_to(request.user).of(profile)
    return changes_page(
        request,
        changes,
        title=f"Changes of {profile}",
        up_url=profile.get_absolute_url() if hasattr(profile, "get_absolute_url") else "",
        up_label=profile,
        groups=["Editions"],
    )
