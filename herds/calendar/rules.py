"""What is due and when: rows of the log and the club's settings in, tasks out. Asks neither the clock nor the database.

Day counts come from the club's settings, whose defaults are those of the Merck Veterinary Manual (Breeding and
Reproduction of Rabbits): palpation 10 to 14 days after mating, nest box in on day 28 to 29, kindling on day 31 and
mostly 31 to 33, a vet called when there is no litter by day 32, kits born after day 34 almost always dead. Days of a
pair that was left together count from its first day for what must not come too late, from its last for what must not
come too early.
"""

from datetime import date, timedelta

from django.urls import reverse

from herds.words import count_words

from .task import Answer, HealthRow, LitterRow, MatingRow, QuarantineRow, Rows, Task

WEEK_DAYS = 7
PALPATION_SLACK_DAYS = 2  # Merck: 10 to 14 days, around the day that the club set
NEST_BOX_SLACK_DAYS = 1  # Merck: day 28 to 29
LATE_BIRTH_DAYS = 34  # Merck
SLACK_DAYS = 3  # nest box out and weighing: common practice, no source
STALE_DAYS = 28  # a line this long past its window is no help any more
FELT_EMPTY, FELT_UNSURE = "empty", "unsure"
FEEL_AGAIN_DAYS = 2

PALPATED = (Answer("in_kindle", "In kindle"), Answer("empty", "Empty"), Answer("unsure", "Not sure"))
NO_LITTER = (
    "A doe that carries too long is in danger, most of all when she strains, is dull or does not eat. "
    "What the vet says goes before this page."
)
WITHDRAWAL = "Your vet and the law where you live set this period; the date is only what was written down."


def due(today: date, club, rows: Rows, ahead_days: int = WEEK_DAYS) -> list[Task]:
    """Every task that is overdue, or due in so many days from today on; overdue first, then by day."""
    tasks = [
        *(task for row in _one_per_service(rows.matings) for task in _of_mating(today, club, row)),
        *(task for row in rows.litters for task in _of_litter(today, club, row)),
        *(_of_quarantine(row) for row in rows.quarantines),
        *(task for row in rows.health for task in _of_health(today, row)),
    ]
    soon = [task for task in tasks if task.when < today + timedelta(days=ahead_days)]
    return sorted(soon, key=lambda task: (_order(task, today), task.when, task.subject, task.key))


def _order(task, today):
    return (not task.urgent, ["overdue", "due", "later"].index(task.state(today)))


def _one_per_service(matings):
    """Leaves out a mating that was repeated within days, and one felt empty before the doe was mated again."""
    kept = []
    for row in matings:
        later = [other for other in matings if other.doe_pk == row.doe_pk and _after(other, row)]
        repeated = any((other.mated_on - row.last_day).days <= SLACK_DAYS for other in later)
        if not repeated and not (later and row.felt == FELT_EMPTY):
            kept.append(row)
    return kept


def _after(other, row):
    return (other.mated_on, other.pk) > (row.mated_on, row.pk)


def _of_mating(today, club, row: MatingRow):
    if row.felt == FELT_EMPTY:
        yield _empty(row)
        return
    nest_box = row.mated_on + timedelta(days=club.nest_box_days)
    if today < nest_box and (row.palpated_on is None or row.felt == FELT_UNSURE):
        yield _palpate(today, club, row)
    no_litter = row.last_day + timedelta(days=club.overdue_days)
    if today > no_litter + timedelta(days=STALE_DAYS):
        return
    if row.nest_box_on is None:
        yield _mating_task(
            row,
            "nest_box",
            today,
            when=nest_box,
            last=row.last_day + timedelta(days=club.nest_box_days + NEST_BOX_SLACK_DAYS),
            title=f"Nest box in for {row.doe}",
            answers=(Answer("", "Box is in"),),
        )
    yield _no_litter(today, row, no_litter) if today >= no_litter else _kindling(today, club, row)


def _palpate(today, club, row):
    if row.palpated_on is None:
        best = row.last_day + timedelta(days=club.palpation_days)
        slack = timedelta(days=PALPATION_SLACK_DAYS)
        return _mating_task(
            row,
            "palpate",
            today,
            when=best,
            first=best - slack,
            last=best + slack,
            title=f"Palpate {row.doe}",
            answers=PALPATED,
        )
    again = row.palpated_on + timedelta(days=FEEL_AGAIN_DAYS)
    return _mating_task(row, "palpate", today, when=again, title=f"Palpate {row.doe} again", answers=PALPATED)


def _empty(row):
    mate = f"{reverse('mating-create')}?doe={row.doe_pk}"
    return _mating_task(
        row,
        "empty",
        row.palpated_on,
        when=row.palpated_on,
        last=row.palpated_on + timedelta(days=STALE_DAYS),
        title=f"{row.doe} felt empty",
        answers=(Answer("", "Give up"),),
        link=(mate, "Mate again"),
    )


def _kindling(today, club, row):
    return _mating_task(
        row,
        "kindling",
        today,
        when=row.mated_on + timedelta(days=club.due_days),
        first=row.mated_on + timedelta(days=club.earliest_kindling_days),
        last=row.last_day + timedelta(days=club.overdue_days - 1),
        title=f"{row.doe} is due to kindle",
        link=(_litter_url(row), "Kindled"),
    )


def _no_litter(today, row, when):
    days = (today - row.last_day).days
    late = f" Kits born after day {LATE_BIRTH_DAYS} are almost always dead." if days > LATE_BIRTH_DAYS else ""
    return _mating_task(
        row,
        "no_litter",
        today,
        when=when,
        title=f"Day {days} and no litter from {row.doe}: call a vet",
        answers=(Answer("", "No litter came"),),
        link=(_litter_url(row), "Kindled"),
        caution=NO_LITTER + late,
        urgent=True,
    )


def _mating_task(
    row, kind, today, *, when, title, first=None, last=None, answers=(), link=("", ""), caution="", urgent=False
):
    together = f", together until {_short(row.last_day)}" if row.last_day != row.mated_on else ""
    return Task(
        key=f"{kind}-{row.pk}",
        kind=kind,
        when=when,
        window=(first or when, last or when),
        herd=row.herd,
        subject=row.doe,
        title=title,
        detail=f"put to {row.buck} on {_short(row.mated_on)}, {_ago(today - row.mated_on)}{together}",
        url=reverse("mating-detail", args=[row.pk]),
        answers=answers,
        link_url=link[0],
        link_label=link[1],
        caution=caution,
        urgent=urgent,
    )


def _short(day):
    """'3 May': the lines reach back a season at most, so the year goes without saying."""
    return f"{day.day} {day:%B}"


def _ago(span):
    return f"{count_words(span.days, 'day')} ago" if span.days else "today"


def _litter_url(row):
    return f"{reverse('litter-create')}?mating={row.pk}"


def _of_litter(today, club, row: LitterRow):
    age = (today - row.born_on).days
    if row.alive:
        yield from _of_nest(age, club, row)
        yield from _weighings(age, club, row)
        if not row.weaned and age <= club.wean_to_days + STALE_DAYS:
            yield _litter_task(
                row,
                "wean",
                age,
                club.wean_from_days,
                club.wean_to_days,
                title=f"Wean the litter of {row.dam}",
                answers=(Answer("", f"Weaned {row.alive}"),),
                link=(f"{_event_url(row)}?kind=weaned", "Other number"),
            )
    if row.dam_stays and not row.dam_mated_since and age <= club.rebreed_to_days + STALE_DAYS:
        yield _litter_task(
            row,
            "rebreed",
            age,
            club.rebreed_from_days,
            club.rebreed_to_days,
            title=f"{row.dam} may be mated again",
            link=(f"{reverse('mating-create')}?doe={row.dam_pk}", "Mate"),
        )


def _of_nest(age, club, row):
    if not row.checked and not row.weaned and not row.nest_box_out and age < club.nest_box_out_days:
        late = row.carried_days is not None and row.carried_days > LATE_BIRTH_DAYS
        yield _litter_task(
            row,
            "first_check",
            age,
            0,
            club.first_check_days,
            title=f"First look into the nest of {row.dam}",
            answers=(Answer("", f"All {row.alive} alive" if row.alive > 1 else "It is alive"),),
            link=(f"{_event_url(row)}?kind=nest_check", "Some dead"),
            caution=f"Born on day {row.carried_days}: look at every kit, and at the doe; call a vet if she is unwell."
            if late
            else "",
        )
    if not row.nest_box_out and not row.weaned and age < club.wean_to_days:
        yield _litter_task(
            row,
            "nest_box_out",
            age,
            club.nest_box_out_days,
            club.nest_box_out_days + SLACK_DAYS,
            title=f"Nest box out for {row.dam}",
            answers=(Answer("", "Box is out"),),
        )


def _weighings(age, club, row):
    days = sorted(set(club.weigh_days))
    ages = [(on - row.born_on).days for on in row.weighed_on]
    for day, following in zip(days, [*days[1:], days[-1] + STALE_DAYS] if days else [], strict=True):
        weighed = any(day - SLACK_DAYS <= weighed_at < following - SLACK_DAYS for weighed_at in ages)
        if not weighed and age < following - SLACK_DAYS:
            yield _litter_task(
                row,
                "weigh",
                age,
                day,
                day + SLACK_DAYS,
                title=f"Weigh the litter of {row.dam}, day {day}",
                link=(reverse("weigh-litter", args=[row.pk]), "Weigh"),
                part=day,
            )


def _event_url(row):
    return reverse("litter-event", args=[row.pk])


def _litter_task(row, kind, age, first, last, *, title, answers=(), link=("", ""), caution="", part=None):
    when = row.born_on + timedelta(days=first)
    return Task(
        key=f"{kind}-{row.pk}" if part is None else f"{kind}-{row.pk}-{part}",
        kind=kind,
        when=when,
        window=(when, row.born_on + timedelta(days=last)),
        herd=row.herd,
        subject=row.dam,
        title=title,
        detail=f"{count_words(row.alive, 'kit')} born on {_short(row.born_on)}, {_ago(timedelta(days=age))}",
        url=reverse("litter-detail", args=[row.pk]),
        answers=answers,
        link_url=link[0],
        link_label=link[1],
        caution=caution,
    )


def _of_quarantine(row: QuarantineRow):
    return Task(
        key=f"quarantine-{row.pk}",
        kind="quarantine",
        when=row.planned_until,
        window=(row.planned_until, row.planned_until),
        herd=row.herd,
        subject=row.animal,
        title=f"Quarantine of {row.animal} ends",
        detail=f"planned until {_short(row.planned_until)}; keep it apart longer if anything looks wrong",
        url=reverse("animal-detail", args=[row.animal_pk]),
        answers=(Answer("", "Ended"),),
    )


def _of_health(today, row: HealthRow):
    if row.follow_up_on is not None:
        yield _health_task(
            row, "follow_up", row.follow_up_on, f"Look again at {row.subject}", answers=(Answer("", "Looked"),)
        )
    for kind, until, what in (
        ("withdrawal", row.withdrawal_until, "not for the table"),
        ("no_show", row.no_show_until, "not for showing"),
    ):
        if until is not None and until >= today:
            yield _health_task(
                row, kind, until, f"Last day of withdrawal for {row.subject}: {what}", caution=WITHDRAWAL
            )


def _health_task(row, kind, when, title, *, answers=(), caution=""):
    return Task(
        key=f"{kind}-{row.pk}",
        kind=kind,
        when=when,
        window=(when, when),
        herd=row.herd,
        subject=row.subject,
        title=title,
        detail=f"noted on {_short(row.on)}",
        private=row.seen,
        url=row.url,
        answers=answers,
        caution=caution,
    )
