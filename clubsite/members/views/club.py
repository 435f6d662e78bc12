from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.http import FileResponse, Http404
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from clubsite.forms import differing, posted, refuse
from clubsite.versions import StalePage

from ..actions.club import change_settings
from ..forms import ClubForm
from ..guards import officers_only
from ..models import Club
from ..trade import GRADES


@require_http_methods(["GET", "POST"])
@officers_only
def club_settings(request):
    """The club's name, words and days; a page that another officer overtook shows both values and saves neither."""
    club = Club.current()
    form = ClubForm(posted(request), request.FILES or None, instance=club)
    status, saved = 200, []
    if "back" in request.POST:
        form.put_back(request.POST["back"])
        form.is_valid()
    elif request.method == "POST":
        status, saved = _save(request, form, club)
        if status == 302:
            messages.success(request, "The settings are saved. They count from now on.")
            return redirect("club-settings")
    context = {"form": form, "groups": form.groups(), "saved": saved, "grades": GRADES}
    context["back"] = request.POST.get("back")
    return render(request, "members/club_settings.html", context, status=status)


@login_not_required
@require_safe
def club_picture(request, name):
    """The club's picture, for everybody; its name changes with its content, so that a browser may keep it."""
    picture = Club.current().picture
    if not picture or picture.name.rpartition("/")[2] != name or not picture.storage.exists(picture.name):
        raise Http404
    response = FileResponse(picture.open("rb"))
    response["Cache-Control"] = "public, max-age=31536000, immutable"
    return response


def _save(request, form, club):
    """(status, saved values that differ): 302 when saved, 409 when somebody else was first, 422 when refused."""
    if not form.is_valid():
        return 422, []
    try:
        change_settings(by=request.user, **form.cleaned_data)
    except StalePage as stale:
        form.add_error(None, stale)
        if form.cleaned_data.pop("picture"):
            form.add_error("picture", "Choose the picture once more: a browser does not keep it.")
        form.cleaned_data.pop("remove_picture")
        form.data = form.data.copy()
        form.data["version"] = club.version
        return 409, differing(form, club)
    except ValidationError as error:
        refuse(form, error)
        return 422, []
    return 302, []
