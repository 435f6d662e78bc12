"""The registry for research, for officers."""

from django.http import Http404, StreamingHttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from grading.research import TABLES, research_zip


@require_http_methods(["GET", "POST"])
def research(request):
    """What the file holds and what to mind; sending the form makes it."""
    if not request.user.is_officer:
        raise Http404
    if request.method == "GET":
        return render(request, "grading/research.html", {"tables": [(name, heads) for name, heads, _ in TABLES]})
    response = StreamingHttpResponse(research_zip(), content_type="application/zip")
    response["Content-Disposition"] = f'attachment; filename="registry-for-research-{timezone.localdate()}.zip"'
    return response
