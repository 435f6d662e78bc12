from django.contrib.auth.decorators import login_not_required
from django.db import connection
from django.http import JsonResponse
from django.shortcuts import render


@login_not_required
def club_public(request):
    """The club's public page: no animals, no names."""
    return render(request, "club_public.html")


@login_not_required
def healthz(request):
    """For a watchdog: 200 while the database answers."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    return JsonResponse({"database": "answers"})
