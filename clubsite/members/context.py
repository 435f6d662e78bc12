from django.utils.functional import SimpleLazyObject

from .models import Club


def club(request):
    """Every page knows the club's name and whether it is the invented one."""
    return {"club": SimpleLazyObject(Club.current)}
