"""Rows of the log for the calendar: a fixed number of queries, whatever the herds hold."""

from collections import defaultdict
from datetime import timedelta

from django.db.models import Exists, OuterRef, Q, Subquery

from herds.models import (
    PRESENT,
    Decision,
    Dismissal,
    HealthNote,
    Kit,
    Litter,
    LitterEvent,
    Mating,
    MatingEvent,
    Quarantine,
    Verdict,
    Weight,
)

from .rules import STALE_DAYS
from .task import HealthRow, LitterRow, MatingRow, QuarantineRow, Rows


def load_rows(herds, today, club):
    """What the calendar of these herds (a list) needs to know today."""
    return Rows(
        matings=tuple(_matings(herds, today, club)),
        litters=tuple(_litters(herds, today, club)),
        quarantines=tuple(_quarantines(herds)),
        health=tuple(_health(herds, today)),
    )


def dismissed_keys(herds):
    """(herd, key) of the lines that were put aside."""
    return set(Dismissal.objects.filter(herd__in=herds).values_list("herd_id", "key"))


def _matings(herds, today, club):
    oldest = today - timedelta(days=club.overdue_days + STALE_DAYS)
    kindled = Litter.objects.filter(dam=OuterRef("doe"), born_on__gte=OuterRef("mated_on"))
    matings = (
        Mating.objects.filter(herd__in=herds, ended_on__isnull=True, doe__status__in=PRESENT)
        .filter(Q(mated_on__gte=oldest) | Q(until__gte=oldest))
        .exclude(Exists(kindled))
        .select_related("doe", "buck")
        .prefetch_related("events")
    )
    for mating in matings:
        felt = [event for event in mating.events.all() if event.kind == MatingEvent.Kind.PALPATION]
        boxes = [event.on for event in mating.events.all() if event.kind == MatingEvent.Kind.NEST_BOX]
        yield MatingRow(
            pk=mating.pk,
            herd=mating.herd_id,
            doe=str(mating.doe),
            doe_pk=mating.doe_id,
            buck=str(mating.buck),
            mated_on=mating.mated_on,
            last_day=mating.last_day,
            palpated_on=felt[-1].on if felt else None,
            felt=felt[-1].result if felt else "",
            nest_box_on=boxes[-1] if boxes else None,
        )


def _litters(herds, today, club):
    longest = max(club.wean_to_days, club.rebreed_to_days, club.nest_box_out_days, *club.weigh_days) + STALE_DAYS
    mated_since = Mating.objects.filter(doe=OuterRef("dam"), mated_on__gte=OuterRef("born_on"))
    verdicts = Decision.objects.filter(animal=OuterRef("dam")).order_by("-decided_on", "-pk")
    litters = list(
        Litter.objects.filter(herd__in=herds, born_on__gte=today - timedelta(days=longest))
        .select_related("dam", "mating")
        .prefetch_related("events")
        .annotate(dam_mated_since=Exists(mated_since), dam_verdict=Subquery(verdicts.values("verdict")[:1]))
    )
    living, listed = _living(litters)
    weighed = _weighed(litters)
    for litter in litters:
        done = {event.kind for event in litter.events.all()}
        yield LitterRow(
            pk=litter.pk,
            herd=litter.herd_id,
            dam=str(litter.dam),
            dam_pk=litter.dam_id,
            born_on=litter.born_on,
            alive=living[litter.pk] if litter.pk in listed else litter.born_alive,
            carried_days=(litter.born_on - litter.mating.last_day).days if litter.mating else None,
            checked=LitterEvent.Kind.NEST_CHECK in done,
            nest_box_out=LitterEvent.Kind.NEST_BOX_OUT in done,
            weaned=LitterEvent.Kind.WEANED in done,
            weighed_on=tuple(sorted(weighed[litter.pk])),
            dam_stays=_stays(litter),
            dam_mated_since=litter.dam_mated_since,
        )


def _stays(litter):
    """True for a dam that stands in the herd and that nobody decided to let go."""
    dam = litter.dam
    return dam.is_here and dam.herd_id == litter.herd_id and litter.dam_verdict != Verdict.LET_GO


def _living(litters):
    """Live kits by the litter in whose nest they grow up, and the litters that have kit rows at all."""
    living, listed = defaultdict(int), set()
    kits = Kit.objects.filter(Q(litter__in=litters) | Q(fostered_to__in=litters)).select_related("animal")
    herds = {litter.pk: litter.herd_id for litter in litters}
    for kit in kits:
        listed.add(kit.litter_id)
        nest = kit.fostered_to_id or kit.litter_id
        stands_here = kit.animal is None or (kit.animal.is_here and kit.animal.herd_id == herds.get(nest))
        if kit.died_on is None and stands_here:
            living[nest] += 1
    return living, listed


def _weighed(litters):
    """Days on which something of the litter was weighed: the whole, a kit, or an animal born in it."""
    days = defaultdict(set)
    parts = [
        Weight.objects.filter(**{f"{path}__in": litters}).order_by().values_list(path, "on")
        for path in ("litter", "kit__litter", "animal__litter")
    ]
    for litter, on in parts[0].union(*parts[1:]):
        days[litter].add(on)
    return days


def _quarantines(herds):
    open_ones = Quarantine.objects.filter(animal__herd__in=herds, ended_on__isnull=True).select_related("animal")
    for quarantine in open_ones:
        yield QuarantineRow(
            pk=quarantine.pk,
            herd=quarantine.animal.herd_id,
            animal=str(quarantine.animal),
            animal_pk=quarantine.animal_id,
            planned_until=quarantine.planned_until,
        )


def _health(herds, today):
    """Notes of what still stands in these herds that ask for another look, or whose withdrawal period runs."""
    asks = Q(follow_up_on__isnull=False, followed_up_on__isnull=True, ended_on__isnull=True)
    runs = Q(withdrawal_until__gte=today) | Q(no_show_until__gte=today)
    notes = HealthNote.objects.filter(asks | runs, herd__in=herds).standing().of_stock_here()
    for note in notes.select_related("animal", "litter__dam").distinct():
        waits = note.followed_up_on is None and note.ended_on is None
        yield HealthRow(
            pk=note.pk,
            herd=note.herd_id,
            subject=note.subject,
            url=note.get_absolute_url(),
            on=note.on,
            seen=note.seen,
            follow_up_on=note.follow_up_on if waits else None,
            withdrawal_until=note.withdrawal_until,
            no_show_until=note.no_show_until,
        )
