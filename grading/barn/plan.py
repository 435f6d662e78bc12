"""The season's plan as its mentor and its owners read it."""

from collections import defaultdict
from dataclasses import dataclass

from clubsite.members.models import Club
from grading.models import Aim, ItemState, SeasonItem
from pedigrees import load

SHOWN = 100


@dataclass(frozen=True)
class PlanRow:
    """An item; of a mating what inbreeding to expect of the litter (0 to 1, None where it cannot be told)."""

    item: SeasonItem
    mine: bool
    inbreeding: float | None = None
    close: bool = False

    @property
    def waits(self):
        return self.item.state == ItemState.PROPOSED


def plan_of(member, herd):
    """[(year, rows)] of a herd's plan, the latest season first; what was taken back is left out. Two queries."""
    items = SeasonItem.objects.visible_to(member).filter(herd=herd).exclude(state=ItemState.WITHDRAWN)
    items = list(items.select_related("animal", "buck__herd", "written_by", "answered_by")[:SHOWN])
    expected, close = expected_of(items), Club.current().close_mating_percent / 100
    seasons = defaultdict(list)
    for item in items:
        value = expected.get(item.pk)
        seasons[item.season].append(
            PlanRow(item, item.written_by_id == member.pk, value, value is not None and value >= close)
        )
    return sorted(seasons.items(), reverse=True)


def expected_of(items):
    """{item key: inbreeding of the litter} of the matings among these items. One query."""
    matings = [item for item in items if item.aim == Aim.MATE]
    does, bucks = (sorted({getattr(item, name) for item in matings}) for name in ("animal_id", "buck_id"))
    if not matings:
        return {}
    try:
        table = load.coancestry_between(does, bucks)
    except load.PedigreeProblem:
        return {}
    return {item.pk: float(table[does.index(item.animal_id), bucks.index(item.buck_id)]) for item in matings}
