"""Starting and ending a quarantine."""

from django.contrib import messages
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_http_methods, require_POST

from clubsite.forms import carried_out, posted
from clubsite.htmx import go, page_or_part
from clubsite.members.sent_once import sent_once
from herds.actions.quarantine import end_quarantine, start_quarantine
from herds.forms.care import QuarantineForm
from herds.models import Animal, Quarantine
from herds.words import day_words


@require_http_methods(["GET", "POST"])
@sent_once
def quarantine_create(request, pk):
    """Keep an animal apart from a day until another."""
    animal = get_object_or_404(Animal.objects.editable_by(request.user).select_related("herd"), pk=pk)
    form = QuarantineForm(posted(request))
    if form.is_valid():
        begun = carried_out(form, start_quarantine, animal=animal, by=request.user, **form.cleaned_data)
        if begun:
            messages.success(request, f"{animal} is in quarantine until {day_words(begun.planned_until)}.")
            return go(request, animal)
    context = {"form": form, "animal": animal}
    return page_or_part(request, "herds/animal_quarantine.html", "form", context, status=422 if form.errors else 200)


@require_POST
def quarantine_end(request, pk):
    """The quarantine is over today; pressed twice it is ended once."""
    quarantine = get_object_or_404(Quarantine.objects.editable_by(request.user).select_related("animal"), pk=pk)
    ended = end_quarantine(quarantine=quarantine, by=request.user)
    messages.success(request, f"The quarantine of {ended.animal} ended on {day_words(ended.ended_on)}.")
    return go(request, ended.animal)
