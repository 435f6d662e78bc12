"""The list of a herd's animals: what is filtered, how it is sorted, which columns show."""

from dataclasses import dataclass

from django.core.paginator import Paginator
from django.db.models import F, Q
from django.db.models.functions import Lower
from django.utils import timezone

from .finding import matching
from .forms.listing import HerdFilter
from .models import PRESENT, Animal, Herd
from .panels import herd_columns
from .words import latest_birth

PAGE = 50
SORTS = {
    "mark": (F("mark_order"), False),
    "name": (Lower("name"), False),
    "sex": (F("sex"), False),
    "born": (F("born_on"), False),
    "age": (F("born_on"), True),
    "verdict": (F("verdict"), False),
    "status": (F("status"), False),
}


def sorts_for(*, kept, outcomes, columns):
    """(key, label) of every sort that the filter form offers."""
    keys = [("mark", "mark"), ("name", "name"), ("-born", "youngest first"), ("born", "oldest first"), ("sex", "sex")]
    if kept:
        keys.append(("verdict", "decision"))
    if outcomes:
        keys.append(("status", "where it is"))
    return keys + [(column.name, column.title.lower()) for column in columns if column.sort]


@dataclass
class HerdListing:
    """The animals of a herd as one member may list them.

    `kept`: the herd is the member's own. `outcomes`: they may know where the animals are now.
    """

    herd: object
    member: object
    kept: bool
    outcomes: bool
    filters: object
    columns: list
    sort: str = "mark"

    def rows(self):
        """The animals, filtered and sorted; one query whatever the columns."""
        animals = Animal.objects.visible_to(self.member).filter(herd=self.herd).select_related("bred_in")
        if self.kept:
            animals = animals.with_decision()
        for column in self.columns:
            animals = column.annotate(animals, self.member)
        return self._sorted(self._filtered(animals))

    @classmethod
    def asked(cls, herd, member, query):
        """The listing that a query string asks for."""
        kept = Herd.objects.kept_by(member).filter(pk=herd.pk).exists()
        outcomes, columns = kept or herd.shares_outcomes, herd_columns(herd, member)
        sorts = sorts_for(kept=kept, outcomes=outcomes, columns=columns)
        filters = HerdFilter(query, kept=kept, outcomes=outcomes, sorts=sorts)
        allowed = {key.removeprefix("-") for key, _ in sorts} | {"age"}
        sort = query.get("sort", "")
        sort = sort if sort.removeprefix("-") in allowed else "mark"
        return cls(herd, member, kept, outcomes, filters, columns, sort)

    @property
    def shows_places(self):
        """Where the animals are is a column once more than those in the herd are listed."""
        return self.outcomes and bool(self.filters.cleaned_data["status"])

    def page(self, number):
        return Paginator(self.rows(), PAGE).get_page(number)

    def _filtered(self, animals):
        asked = self.filters.cleaned_data
        animals = matching(animals, asked["q"])
        if asked["sex"]:
            animals = animals.filter(sex=asked["sex"])
        if self.outcomes and asked["status"] != "all":
            places = [asked["status"]] if asked["status"] else PRESENT
            animals = animals.filter(status__in=places)
        if self.kept and asked["verdict"] == "none":
            animals = animals.filter(verdict__isnull=True)
        elif self.kept and asked["verdict"]:
            animals = animals.filter(verdict=asked["verdict"])
        return animals.filter(age_between(*self.filters.ages()))

    def _sorted(self, animals):
        key, down = self.sort.removeprefix("-"), self.sort.startswith("-")
        by = next((F(column.sort) for column in self.columns if column.name == key and column.sort), None)
        if by is None:
            by, turned = SORTS.get(key, SORTS["mark"])
            down ^= turned
        order = by.desc(nulls_last=True) if down else by.asc(nulls_last=True)
        return animals.order_by(order, F("mark_order").asc(nulls_last=True), "pk")


def age_between(from_months, to_months, today=None):
    """Born so that whole calendar months of age are at least one number and under another; None leaves it open."""
    today = today or timezone.localdate()
    born = Q()
    if from_months is not None:
        born &= Q(born_on__lte=latest_birth(today, from_months))
    if to_months is not None:
        born &= Q(born_on__gt=latest_birth(today, to_months))
    return born
