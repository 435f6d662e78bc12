"""The pictures that stand beside the words of a step."""

from django.core.files.storage import default_storage
from django.http import FileResponse, Http404
from django.shortcuts import get_object_or_404
from django.utils.cache import get_conditional_response
from django.utils.http import quote_etag
from django.views.decorators.http import require_safe

from grading import photo_files as files
from grading.models import StepText


@require_safe
def step_picture(request, pk):
    """A step's picture in a published profile, for every member; in a draft, for officers."""
    texts = StepText.objects.exclude(picture="")
    if not request.user.is_officer:
        texts = texts.filter(trait__profile__published_at__isnull=False)
    name = get_object_or_404(texts, pk=pk).picture.name
    etag = quote_etag(files.fingerprint(name.encode())[:32])
    response = get_conditional_response(request, etag=etag) or _file(name)
    response["ETag"], response["Cache-Control"] = etag, "private, max-age=3600"
    response["X-Content-Type-Options"] = "nosniff"
    return response


def _file(name):
    try:
        return FileResponse(default_storage.open(name, "rb"), content_type=files.content_type(name))
    except (FileNotFoundError, StopIteration):
        raise Http404 from None
