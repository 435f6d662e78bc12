"""Pages about an animal's photos: taking them, and seeing them side by side."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_http_methods, require_safe

from clubsite.htmx import page_or_part, wants_part
from grading import photo_reading as reading
from grading import photo_taking as taking
from grading.uploads import PhotoLimit
from herds.models import Animal
from herds.words import age_words, count_words

DAYS_AT_ONCE = 12


@require_safe
def photo_list(request, pk):
    """All photos of an animal side by side: a row a view, a column an age; the newest days first to be seen."""
    animal = get_object_or_404(reading.animals_with_open_photos(request.user), pk=pk)
    photos = list(reading.photos_of(animal, request.user))
    days = sorted({photo.taken_on for photo in photos}, reverse=True)
    page = Paginator(days, DAYS_AT_ONCE).get_page(request.GET.get("page"))
    columns = sorted(page.object_list)
    shown = [reading.shown_as(photo, animal) for photo in photos if photo.taken_on in set(columns)]
    refused, withdrawn = reading.set_aside(animal, request.user) if animal.is_kept else ([], [])
    context = {
        "animal": animal,
        "page": page,
        "columns": [(day, age_words(animal.born_on, day) if animal.born_on else "") for day in columns],
        "rows": reading.side_by_side(shown, columns),
        "refused": refused,
        "withdrawn": withdrawn,
        "photo_count": len(photos),
    }
    return page_or_part(request, "grading/photo_list.html", "photos", context)


@require_safe
def photo_strip(request, pk):
    """One view's photos by age, as the animal's page shows them."""
    animal = get_object_or_404(reading.animals_with_open_photos(request.user), pk=pk)
    if not wants_part(request):
        return redirect("photo-list", animal.pk)
    return render(
        request,
        "grading/photo_panel.html#strip",
        reading.strip(animal, request.user, request.GET.get("view", "")),
    )


@csrf_exempt  # only as far as the door: the body is read, and its token asked for, behind it
@require_http_methods(["GET", "POST"])
def photo_create(request, pk):
    """Take or choose photos of an animal: several in one form, or one at a time by the script."""
    animal = get_object_or_404(Animal.objects.editable_by(request.user).select_related("herd"), pk=pk)
    limit = PhotoLimit(request)
    request.upload_handlers.insert(0, limit)
    return _photo_create(request, animal, limit)


@csrf_protect
def _photo_create(request, animal, limit):
    look = taking.look_asked(animal, request.user, request.POST.get("look") or request.GET.get("look"))
    if request.method == "GET":
        return render(request, "grading/photo_create.html", taking.taking(request, animal, look))
    form = taking.sent_form(request, animal, look, limit)
    taken = form.take()
    if form.by_script:
        return _answer_script(request, animal, form, taken)
    if taken:
        say_stored(request, animal, taken)
    if not form.errors:
        from_look = _look_page(look) if look and request.POST.get("back") else ""
        return redirect(from_look or taking.way_back(request) or reverse("photo-list", args=[animal.pk]))
    return render(request, "grading/photo_create.html", taking.taking(request, animal, look, form), status=422)


def _answer_script(request, animal, form, taken):
    """The stored photo's row (201 when it is new, 200 when it was here), or why it was refused."""
    if form.errors or not taken:
        return JsonResponse({"problem": form.problem()}, status=422)
    photo, told_day = taken[0].photo, taken[0].told_day
    context = {"photo": reading.shown_as(photo, animal), "animal": animal, "asked": 0, "wait": reading.PATIENCE[0]}
    if told_day != photo.taken_on:
        context["told_day"] = told_day
    response = render(request, "grading/photo_parts.html#row", context, status=201 if taken[0].new else 200)
    response["X-Photo"] = str(photo.key)  # tells the script that this is no sign-in page it was led to
    return response


def say_stored(request, animal, taken):
    """One sentence about what is stored now."""
    new = sum(each.new for each in taken)
    words = []
    if new:
        words.append(f"{count_words(new, 'photo')} of {animal} {'is' if new == 1 else 'are'} stored.")
    if again := len(taken) - new:
        words.append(
            f"{count_words(again, 'photo')} had been stored before and {'is' if again == 1 else 'are'} there once."
        )
    messages.success(request, " ".join(words))


def _look_page(look):
    open_today = look.finished_at is None and look.editable_until > timezone.now()
    return reverse("look-section", args=[look.pk, 5]) if open_today else look.get_absolute_url()
