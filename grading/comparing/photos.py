"""Photos of the same view and age side by side, one row for each thing, as far as the member may see them."""

from collections import Counter, defaultdict
from dataclasses import dataclass

from django.db import connection

from grading.models import Photo, PhotoState, View
from grading.photo_reading import shown_as

EACH = 6
PICTURED = "unnest(%s::bigint[], %s::bigint[]) m (key, animal_id)"


@dataclass(frozen=True)
class Rows:
    """The rows of photos. `views`: (view, how many things have one, chosen); `ages`: (code, name, chosen)."""

    views: list
    ages: list
    chosen: object
    middle_months: int | None
    rows: list

    @property
    def some(self):
        return any(photos for _, photos in self.rows)


def counts_by_view(chosen, member):
    """Counter of view to how many of the things have a visible photo of it. One query."""
    visible, more = _visible(member)
    query = f"""
        SELECT p.view, count(DISTINCT m.key) FROM {PICTURED}
        JOIN grading_photo p ON p.animal_id = m.animal_id WHERE p.id IN ({visible}) GROUP BY p.view
    """  # noqa: S608 - constants and Django's compiled query
    with connection.cursor() as cursor:
        cursor.execute(query, [*_pictured(chosen), *more])
        return Counter(dict(cursor.fetchall()))


def nearest(chosen, member, view, months):
    """({key: [photo id, nearest first]}, middle age in days): one photo an animal, EACH a thing, of one view.

    months : (from, to) of the age on the day of the photo in whole calendar months, either None.
    Nearest to the middle age of all such photos, so that the rows stand at the same age. One query.
    """
    visible, more = _visible(member, view=view)
    low, high = months
    once = "p.id" if chosen.kind.code == "animals" else "p.animal_id"  # of a single animal there may be several
    query = f"""
        WITH found AS MATERIALIZED (
            SELECT m.key, p.id, p.animal_id, p.taken_on - a.born_on AS age, {once} AS once
            FROM {PICTURED}
            JOIN herds_animal a ON a.id = m.animal_id
            JOIN grading_photo p ON p.animal_id = m.animal_id
            WHERE p.id IN ({visible})
              AND (%s::int IS NULL OR p.taken_on >= a.born_on + make_interval(months => %s::int))
              AND (%s::int IS NULL OR p.taken_on < a.born_on + make_interval(months => %s::int))),
        middle AS (SELECT percentile_cont(0.5) WITHIN GROUP (ORDER BY age) AS age FROM found),
        once AS (
            SELECT DISTINCT ON (f.key, f.once) f.key, f.id, abs(f.age - middle.age) AS off, middle.age AS middle
            FROM found f, middle ORDER BY f.key, f.once, abs(f.age - middle.age) NULLS LAST, f.id DESC),
        ranked AS (SELECT *, row_number() OVER (PARTITION BY key ORDER BY off NULLS LAST, id DESC) AS place FROM once)
        SELECT key, id, middle FROM ranked WHERE place <= %s ORDER BY key, place
    """  # noqa: S608 - constants and Django's compiled query
    with connection.cursor() as cursor:
        cursor.execute(query, [*_pictured(chosen), *more, low, low, high, high, EACH])
        found = cursor.fetchall()
    keys = defaultdict(list)
    for key, photo, _ in found:
        keys[key].append(photo)
    return keys, found[0][2] if found else None


def _pictured(chosen):
    """What PICTURED takes: each thing's animals of which there is a photo."""
    animals = chosen.animals
    return animals.texts({key: mine & animals.pictured for key, mine in animals.of.items()})


def _visible(member, **more):
    photos = Photo.objects.visible_to(member).shown().filter(state=PhotoState.READY, **more)
    return photos.order_by().values("pk").query.sql_with_params()


def photo_rows(asked, chosen, member, profile, age_code, query):
    """The Rows for the view and age class that the address asks for."""
    by_view = counts_by_view(chosen, member)
    order = list(View)
    wanted = query.get("view", "")
    view = View(wanted) if wanted in View.values else max(order, key=lambda v: (by_view[v], -order.index(v)))
    classes = list(profile.age_classes.all()) if profile else []
    codes = {each.code: each for each in classes}
    at = query.get("at", "") or age_code
    age = codes.get(at)
    months = (age.from_months, age.to_months) if age else (None, None)
    keys, middle = nearest(chosen, member, view, months) if by_view else ({}, None)
    wanted = [pk for row in keys.values() for pk in row]
    photos = Photo.objects.visible_to(member).select_related("animal").in_bulk(wanted)
    rows = [
        (thing, [shown_as(photos[pk], photos[pk].animal) for pk in keys.get(thing.key, ()) if pk in photos])
        for thing in asked.things
    ]
    return Rows(
        [(each, by_view[each], each == view) for each in order if by_view[each] or each == view],
        [("any", "Any age", age is None), *((each.code, each.name, each is age) for each in classes)],
        view,
        None if middle is None else round(middle / 30.44),
        rows,
    )
