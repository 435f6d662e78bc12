"""Which does and bucks a mentor may weigh up for a herd that is open to them, and the pairs they chose."""

from datetime import timedelta

from django.db.models import BooleanField, Case, Q, Value, When
from django.utils import timezone

from clubsite.members.models import Club
from herds.models import Animal, Sex


def _grown(animals):
    youngest = timezone.localdate() - timedelta(days=Club.current().breeding_age_days)
    grown = animals.filter(Q(born_on__isnull=True) | Q(born_on__lte=youngest))
    return grown.here().select_related("breed", "herd").by_mark()


def does_in(herd, without=()):
    """Grown does that stand in the herd, but for the keys in `without`."""
    return _grown(Animal.objects.filter(herd=herd, sex=Sex.DOE).exclude(pk__in=without))


def bucks_for_herd(herd, without=()):
    """Grown bucks of the herd, and those offered to the club, as the owner may choose them too."""
    open_ones = Q(herd=herd) | Q(offered_to_club=True, herd__isnull=False)
    is_own = Case(When(herd=herd, then=Value(True)), default=Value(False), output_field=BooleanField())
    return _grown(Animal.objects.filter(open_ones, sex=Sex.BUCK).exclude(pk__in=without).annotate(is_own=is_own))


def chosen_pairs(texts, does, bucks):
    """[(doe, buck)] for texts 'doe key-buck key', each once; None where an animal is not among `does` and `bucks`."""
    halves = [text.split("-") for text in dict.fromkeys(texts)]
    if not all(len(each) == 2 and all(key.isdecimal() and len(key) <= 18 for key in each) for each in halves):
        return None
    keys = [(int(doe), int(buck)) for doe, buck in halves]
    of_does = {each.pk: each for each in does.filter(pk__in=[doe for doe, _ in keys])}
    of_bucks = {each.pk: each for each in bucks.filter(pk__in=[buck for _, buck in keys])}
    if not all(doe in of_does and buck in of_bucks for doe, buck in keys):
        return None
    return [(of_does[doe], of_bucks[buck]) for doe, buck in keys]
