from allauth.account.adapter import get_adapter
from django.contrib import messages
from django.http import FileResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clubsite.forms import carried_out, posted

from ..actions import members as actions
from ..forms import CloseForm, ProfileForm
from ..listing import role_words
from ..places import PLACES, in_order
from ..takeout import take_out


@require_safe
def account(request):
    """The member's own page: profile, ways in, data, leaving."""
    member = request.user
    context = {
        "role_words": role_words(member, timezone.localdate()),
        "youths": member.youths.filter(is_active=True).order_by("name"),
    }
    return render(request, "members/account.html", context)


@require_http_methods(["GET", "POST"])
def profile_update(request):
    member = request.user
    form = ProfileForm(posted(request), instance=member)
    if form.is_valid() and carried_out(form, actions.change_profile, member=member, by=member, **form.cleaned_data):
        messages.success(request, "Your profile is saved.")
        return redirect("account")
    return render(request, "members/profile_form.html", {"form": form}, status=422 if form.errors else 200)


@require_POST
def account_data(request):
    """All of the member's data as one ZIP; a POST, so that no link on another page can start the work."""
    name = f"herd-registry-{timezone.localdate():%Y-%m-%d}.zip"
    return FileResponse(take_out(request.user), as_attachment=True, filename=name, content_type="application/zip")


@sensitive_post_parameters("password")
@require_http_methods(["GET", "POST"])
def account_close(request):
    """Says what stays and what goes, asks for the password, and closes the account for good."""
    member = request.user
    form = CloseForm(posted(request), member=member)
    if form.is_valid() and carried_out(form, actions.close_account, member=member, by=member):
        get_adapter(request).logout(request)
        messages.success(request, "Your account is closed. Thank you for your records, and good luck with the rabbits.")
        return redirect("club-public")
    context = {
        "form": form,
        "hindrances": actions.hindrances(member),
        "consequences": [text for place in in_order(PLACES.leavings) for text in place.explain(member)],
    }
    return render(request, "members/account_close.html", context, status=422 if form.errors else 200)
