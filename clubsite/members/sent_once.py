"""A form that is sent twice is answered twice and carried out once."""

import uuid
from functools import wraps

from django.contrib import messages
from django.db import IntegrityError, transaction

from clubsite.htmx import go

from .models import Submission

FIELD = "submission_key"


def sent_once(view):
    """Carry out a POST once per `submission_key`; a repeat is sent where the first one went.

    The key is claimed and the work done in one transaction, so two that arrive together wait for each other. An answer
    that is no redirect (a form with errors) gives the key back.
    """

    @wraps(view)
    def once(request, *args, **kwargs):
        key = _key(request)
        if key is None:
            return view(request, *args, **kwargs)
        try:
            with transaction.atomic():
                Submission.objects.create(key=key, member=request.user)
                response = view(request, *args, **kwargs)
                location = response.get("HX-Redirect") or response.get("Location")
                if location:
                    Submission.objects.filter(key=key).update(location=location[:300])
                else:
                    Submission.objects.filter(key=key).delete()
                return response
        except IntegrityError:
            earlier = Submission.objects.filter(key=key, member=request.user).first()
            if earlier is None or not earlier.location:
                raise
        messages.info(request, "This form had already been sent. It was saved once.")
        return go(request, earlier.location)

    return once


def _key(request):
    try:
        return uuid.UUID(request.POST.get(FIELD, "")) if request.method == "POST" else None
    except ValueError:
        return None


def new_key():
    """A fresh key for a form's hidden field `submission_key`."""
    return uuid.uuid4()
