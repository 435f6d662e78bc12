"""What a comparison asks of the database: a handful of queries, whatever the number of things, animals and looks.

Each animal counts once, with the mean of its looks, and each look once, with the mean of the places parted; spread is
the sample standard deviation over animals. In a comparison of single animals each look counts instead of each animal.
"""

from contextlib import contextmanager
from dataclasses import dataclass, field

from django.db import connection, transaction
from django.db.models import Q

from grading.models import Mode
from herds.models import Herd

DOTS = 250
MEASURED = 500  # animals of a thing whose every trait is summed; the mean of 500 is known to a twentieth of a step
EVEN = 65536


@dataclass(frozen=True)
class Footing:
    """Which looks count: those of one age class and coat stage, in hand; all where `like` is False."""

    like: bool
    age: str = ""
    coat: str = ""

    def sql(self):
        if not self.like:
            return "", []
        return (
            f" AND l.mode = '{Mode.IN_HAND.value}' AND coalesce(c.code, '') = %s AND l.coat_stage = %s",
            [self.age, self.coat],
        )


@dataclass(frozen=True)
class Counts:
    looks: int = 0
    animals: int = 0
    dams: int = 0
    herds: int = 0
    graders: int = 0


@dataclass(frozen=True)
class Figure:
    """One trait of one thing. In a comparison of animals mean, sd and n are of looks, and `last` is the last step."""

    looks: int
    animals: int
    herds: int
    mean: float
    sd: float | None
    last: float | None = None


@dataclass(frozen=True)
class Plane:
    """How surface and undercolor lie in a thing: animals with both, means, and the covariance of the two, or None."""

    n: int
    surface: float | None
    undercolor: float | None
    reach: float | None
    covariance: tuple | None


@dataclass
class Individual:
    """An animal that may be shown by itself. Steps are means of its looks, or None."""

    animal: int
    words: str
    mark: str
    herd: int
    surface: float | None
    undercolor: float | None
    reach: float | None
    looks: int
    keys: list = field(default_factory=list)

    @property
    def both(self):
        return self.surface is not None and self.undercolor is not None


def open_herds(member):
    """The keys of the herds whose finished looks the member may see one by one: the same as Look.visible_to."""
    granted = Herd.objects.granted_to(member).values("pk")
    kept = Herd.objects.kept_by(member).values("pk")
    herds = Herd.objects.filter(Q(pk__in=kept) | Q(pk__in=granted) | Q(shares_looks=True))
    return list(herds.values_list("pk", flat=True))


@dataclass(frozen=True)
class Chosen:
    """The groups of a comparison, for a member: the SQL of their members, and the herds that are open to them."""

    kind: object
    keys: list
    breeds: list
    open: list

    def members(self):
        """SQL and parameters of (key, animal_id)."""
        sql = f"SELECT m.key, m.animal_id FROM ({self.kind.members}) m (key, animal_id)"  # noqa: S608 - constants of this file and of kinds.py
        params = [self.keys] * self.kind.key_params
        if self.kind.of_breed:
            sql += " JOIN herds_animal b ON b.id = m.animal_id AND b.breed_id = ANY (%s)"
            params.append(self.breeds)
        return sql, params

    def seen(self, footing, whole, shares=None):
        """The CTE `seen`: the looks that count. `whole`: keys of which every look counts, open or not.

        shares : dict of key to how much of its animals is drawn, 0 to 1; the same animals each time.
        """
        members, params = self.members()
        only, more = footing.sql()
        if shares:
            only += " AND (hashint8(m.animal_id) & %s) < (%s::int[])[array_position(%s::bigint[], m.key::bigint)]"
            parts = [round(shares.get(key, 1) * EVEN) for key in self.keys]
            more = [*more, EVEN - 1, parts, self.keys]
        sql = f"""
            WITH members (key, animal_id) AS MATERIALIZED ({members}),
            seen AS MATERIALIZED (
                SELECT m.key, l.id, l.animal_id, a.dam_id, a.herd_id, l.observer_id, l.observed_on,
                       coalesce(c.code, '') AS age, l.coat_stage AS coat, l.mode,
                       coalesce(a.herd_id = ANY (%s), false) AS open, l.surface, l.undercolor, l.reach
                FROM members m
                JOIN herds_animal a ON a.id = m.animal_id
                JOIN grading_look l ON l.animal_id = a.id AND l.current
                LEFT JOIN grading_ageclass c ON c.id = l.age_class_id
                WHERE (a.herd_id = ANY (%s) OR m.key = ANY (%s)) {only})
        """  # noqa: S608 - constants of this file and of kinds.py
        return sql, [*params, self.open, self.open, whole, *more]


def rows_of(query, params):
    with connection.cursor() as cursor:
        cursor.execute(query, params)
        names = [column.name for column in cursor.description]
        return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]


@contextmanager
def room_for_many(kind):
    """Within it groups that may hold thousands of animals are joined whole, since the planner takes them for short."""
    loops = "on" if kind.code in ("animals", "sires") else "off"
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SELECT set_config('work_mem', '64MB', true), set_config('enable_nestloop', %s, true)", [loops])
        yield
        cursor.execute("SELECT set_config('enable_nestloop', 'on', true)")


def counts(chosen):
    """How many looks there are, by thing and by what kind of look they are.

    Returns (of_thing, of_cell): dicts of (key, scope) and (key, scope, age, coat, mode) to Counts, where scope is
    'open' for what the member may see look by look and 'all' for everything (only for kinds that may count it).
    One query.
    """
    everybody = chosen.keys if chosen.kind.whole else []
    seen, params = chosen.seen(Footing(False), everybody)
    of_thing, of_cell = {}, {}
    found = rows_of(
        f"""{seen}
        SELECT key, age, coat, mode, open, grouping(age) AS all_cells, grouping(open) AS all_scopes,
               count(*) AS looks, count(DISTINCT animal_id) AS animals, count(DISTINCT dam_id) AS dams,
               count(DISTINCT herd_id) AS herds, count(DISTINCT observer_id) AS graders
        FROM seen
        GROUP BY GROUPING SETS ((key), (key, open), (key, age, coat, mode), (key, age, coat, mode, open))
        """,  # noqa: S608 - constants of this file and of kinds.py
        params,
    )
    for row in found:
        if not row["all_scopes"] and not row["open"]:
            continue
        scope = "all" if row["all_scopes"] else "open"
        number = Counts(*(row[name] for name in ("looks", "animals", "dams", "herds", "graders")))
        if row["all_cells"]:
            of_thing[row["key"], scope] = number
        else:
            of_cell[row["key"], scope, row["age"], row["coat"], row["mode"]] = number
    return of_thing, of_cell


def figures(chosen, footing, whole, shares, *, by_look=False):
    """{(key, trait id): Figure} of everything that was graded, of the `shares` of animals. One query."""
    seen, params = chosen.seen(footing, whole, shares)
    last = "(array_agg(step::float8 ORDER BY observed_on DESC, look_id DESC))[1]"
    each = (
        f"""SELECT key, trait_id, count(*) AS looks, 1 AS animals, 1 AS herds, avg(step)::float8 AS mean,
                   stddev_samp(step)::float8 AS sd, {last} AS last
            FROM graded GROUP BY key, trait_id"""  # noqa: S608 - constants of this file and of kinds.py
        if by_look
        else """SELECT key, trait_id, sum(looks)::int AS looks, count(*) AS animals, count(DISTINCT herd_id) AS herds,
                       avg(step)::float8 AS mean, stddev_samp(step)::float8 AS sd, NULL AS last
                FROM (SELECT key, trait_id, animal_id, herd_id, count(*) AS looks, avg(step) AS step
                      FROM graded GROUP BY key, trait_id, animal_id, herd_id) per_animal
                GROUP BY key, trait_id"""
    )
    found = rows_of(
        f"""{seen},
        graded AS (
            SELECT s.key, n.trait_id, s.animal_id, s.herd_id, s.observed_on, n.look_id, avg(n.step) AS step
            FROM seen s JOIN grading_answer n ON n.look_id = s.id
            WHERE n.step IS NOT NULL
            GROUP BY s.key, n.trait_id, s.animal_id, s.herd_id, s.observed_on, n.look_id)
        {each}""",  # noqa: S608 - constants of this file and of kinds.py
        params,
    )
    return {(row.pop("key"), row.pop("trait_id")): Figure(**row) for row in found}


def planes(chosen, footing, whole):
    """{key: Plane} of the looks' summaries, each animal once. One query."""
    seen, params = chosen.seen(footing, whole)
    found = rows_of(
        f"""{seen},
        per_animal AS (
            SELECT key, animal_id, avg(surface) AS surface, avg(undercolor) AS undercolor, avg(reach) AS reach
            FROM seen GROUP BY key, animal_id)
        SELECT key, regr_count(undercolor, surface)::int AS n, avg(surface) AS surface, avg(undercolor) AS undercolor,
               avg(reach) AS reach, covar_samp(undercolor, surface) AS across,
               var_samp(surface) FILTER (WHERE undercolor IS NOT NULL) AS along,
               var_samp(undercolor) FILTER (WHERE surface IS NOT NULL) AS up
        FROM per_animal GROUP BY key
        """,  # noqa: S608 - constants of this file and of kinds.py
        params,
    )
    return {
        row["key"]: Plane(
            row["n"], row["surface"], row["undercolor"], row["reach"],
            ((row["along"], row["across"]), (row["across"], row["up"])) if row["n"] >= 3 else None,
        )
        for row in found
    }  # fmt: skip


def individuals(chosen, footing, per_thing):
    """At most `per_thing` animals of each thing that the member may see by themselves, those looked at last first.

    Returns a list of Individual in that order, an animal of two things once with both keys. One query.
    """
    seen, params = chosen.seen(footing, [])
    found = rows_of(
        f"""{seen},
        per_animal AS (
            SELECT key, animal_id, avg(surface) AS surface, avg(undercolor) AS undercolor, avg(reach) AS reach,
                   count(*) AS looks, max(observed_on) AS last_on
            FROM seen WHERE open GROUP BY key, animal_id),
        ranked AS (
            SELECT *, row_number() OVER (
                PARTITION BY key ORDER BY surface IS NULL OR undercolor IS NULL, last_on DESC, animal_id DESC) AS place
            FROM per_animal)
        SELECT r.*, a.mark_text, a.name, a.herd_id FROM ranked r JOIN herds_animal a ON a.id = r.animal_id
        WHERE place <= %s ORDER BY place, array_position(%s, r.key::bigint)
        """,  # noqa: S608 - constants of this file and of kinds.py
        [*params, per_thing, chosen.keys],
    )
    animals: dict = {}
    for row in found:
        words = " ".join(filter(None, (row["mark_text"], row["name"]))) or f"animal {row['animal_id']}"
        each = animals.setdefault(
            row["animal_id"],
            Individual(
                row["animal_id"], words, row["mark_text"] or row["name"] or f"animal {row['animal_id']}",
                row["herd_id"], row["surface"], row["undercolor"], row["reach"], row["looks"],
            ),
        )  # fmt: skip
        each.keys.append(row["key"])
    return list(animals.values())
