from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from clubsite.forms import differing, posted, refuse
from clubsite.versions import StalePage

from ..actions.club import change_settings
from ..forms import ClubForm
from ..guards import officers_only
from ..models import Club


@require_http_methods(["GET", "POST"])
@officers_only
def club_settings(request):
    """The club's name, words and days; a page that another officer overtook shows both values and saves neither."""
    club = Club.current()
    form = ClubForm(posted(request), instance=club)
    status, saved = 200, []
    if request.method == "POST":
        status, saved = _save(request, form, club)
        if status == 302:
            messages.success(request, "The settings are saved. They count from now on.")
            return redirect("club-settings")
    context = {"form": form, "groups": form.groups(), "saved": saved}
    return render(request, "members/club_settings.html", context, status=status)


def _save(request, form, club):
    """(status, saved values that differ): 302 when saved, 409 when somebody else was first, 422 when refused."""
    if not form.is_valid():
        return 422, []
    try:
        change_settings(by=request.user, **form.cleaned_data)
    except StalePage as stale:
        form.add_error(None, stale)
        form.data = form.data.copy()
        form.data["version"] = club.version
        return 409, differing(form, club)
    except ValidationError as error:
        refuse(form, error)
        return 422, []
    return 302, []
