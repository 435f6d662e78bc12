"""Pages and files of photos."""

from django.http import Http404, JsonResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_http_methods, require_safe

from clubsite.htmx import go, page_or_part
from grading import photo_reading as reading
from grading import photo_serving as serving
from grading.forms.photos import TakeForm
from grading.models import Photo, PhotoState
from grading.uploads import PhotoLimit
from herds.models import Animal


@require_safe
def photo_list(request, pk):
    """All photos of an animal side by side: a row a view, a column an age."""
    animal = get_object_or_404(reading.animals_with_open_photos(request.user), pk=pk)
    photos = [reading.shown_as(photo, animal) for photo in reading.photos_of(animal, request.user)]
    days = sorted({photo.taken_on for photo in photos})
    context = {"animal": animal, "days": days, "rows": reading.side_by_side(photos, days)}
    return page_or_part(request, "grading/photo_list.html", "photos", context)


@csrf_exempt  # only until the door: the body is read, and its token asked for, behind it
@require_http_methods(["GET", "POST"])
def photo_create(request, pk):
    """Take or choose photos of an animal; several in one form, or one at a time by the script."""
    animal = get_object_or_404(Animal.objects.editable_by(request.user).select_related("herd"), pk=pk)
    limit = PhotoLimit(request)
    request.upload_handlers.insert(0, limit)
    return _photo_create(request, animal, limit)


@csrf_protect
def _photo_create(request, animal, limit):
    form = TakeForm(request, animal=animal, too_large=limit.too_large)
    by_script = "client_key" in request.POST
    taken = form.take() if request.method == "POST" else []
    if by_script:
        if form.errors or not taken:
            return JsonResponse({"problem": form.problem()}, status=422)
        context = {"photo": reading.shown_as(taken[0].photo, animal), "told_day": taken[0].told_day, "animal": animal}
        return render(request, "grading/photo_parts.html#row", context, status=201 if taken[0].new else 200)
    if taken and not form.errors:
        return go(request, "photo-list", animal.pk)
    context = {"animal": animal, "form": form, "taken": taken}
    return render(request, "grading/photo_create.html", context, status=422 if form.errors else 200)


@require_safe
def photo_detail(request, key):
    photo = get_object_or_404(Photo.objects.visible_to(request.user), key=key)
    raise Http404(photo)


@require_safe
def photo_file(request, key, size):
    """A sized copy for whoever may see the photo; the original for the herd's keepers."""
    if not serving.known_size(size):
        raise Http404
    photos = (
        Photo.objects.visible_to(request.user) if size in serving.SIZES else Photo.objects.editable_by(request.user)
    )
    photo = get_object_or_404(photos.select_related("animal").filter(state=PhotoState.READY), key=key)
    return serving.answer(request, photo, size)
