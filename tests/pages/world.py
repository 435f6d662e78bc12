"""What the walks find in the club: bucks whose progeny were graded, so that their plots have dots."""

from datetime import timedelta

from django.utils import timezone

from clubsite.members.models import Club
from grading.models import Trait
from tests.factories import make_animal, make_herd, make_look, make_member, make_profile, published_profile

SHADES = [(7, 4), (6, 6), (5, 8), (8, 3), (6, 7), (7, 7), (4, 8), (6, 5)]


def make_club(**given):
    """A club with every setting filled in, marked as invented."""
    Club.current()
    given = {
        "name": "Vale Silver Club", "is_demo": True, "region": "the Vale", "introduction": "We keep one breed.",
        "house_rules": "Ring the herd's owner before a visit.",
    } | given  # fmt: skip
    Club.objects.update(**given)


def make_progeny(sire, dams, herds, graders, *, lift=0, start=0):
    """Eight young of a buck, spread over herds and birth years, each looked at by every grader."""
    profile = published_profile(sire.breed) or make_profile(sire.breed)
    surface, undercolor = Trait.objects.get(summary="surface"), Trait.objects.get(summary="undercolor")
    today = timezone.localdate()
    young = []
    for number, (shade, under) in enumerate(SHADES, start):
        herd = herds[number % len(herds)]
        born_on = today - timedelta(days=250 + 60 * (number - start))
        each = make_animal(
            herd,
            f"{sire.mark_text}{number:02}",
            sex=("buck", "doe")[number % 2],
            born_on=born_on,
            sire=sire,
            dam=dams[number % len(dams)],
        )
        for grader in graders:
            steps = {
                surface: min(9, shade + lift),
                **dict.fromkeys([(undercolor, site) for site in undercolor.sites], under),
            }
            make_look(each, grader, steps=steps, profile=profile, observed_on=today - timedelta(days=20 + number))
        young.append(each)
    return young


def make_rich(cast):
    """Two bucks with progeny in three herds, seen by three graders; returns the bucks."""
    long_ago = timezone.localdate() - timedelta(days=1500)
    third = make_herd(make_member("Una Farrow"), name="Farrow", shares_looks=True)
    herds, graders = [cast.herd, cast.other_herd, third], [cast.keeper, cast.grader]
    for animal in (cast.sire, cast.dam, cast.other_buck):
        type(animal).objects.filter(pk=animal.pk).update(born_on=long_ago)
        animal.refresh_from_db()
    dams = [
        make_animal(third, mark, sex="doe", name=name, born_on=long_ago)
        for mark, name in (("F2", "Rowan"), ("F3", "Teasel"), ("F4", "Bryony"), ("F5", "Sorrel"), ("F6", "Yarrow"))
    ]
    make_progeny(cast.sire, [cast.dam, *dams], herds, graders)
    make_progeny(cast.other_buck, dams, herds, graders, lift=1, start=20)
    return cast.sire, cast.other_buck
