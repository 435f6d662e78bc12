"""How undercolor fades with age, each animal beside itself: in a sire's progeny, and in all the breed.

Only looks in hand in prime coat from the first birthday on, of animals that have two of them or more. With y the
undercolor of a look (less what the last run found its grader, year and season to add) and x the age in years, the slope
is sum over animals of Sxy / sum of Sxx, both within the animal; its interval lets animals differ (sums by animal, with
Student's t). What sets animals apart, a sire's dark line or a culled litter, cannot pass for fade that way.
"""

from dataclasses import dataclass

from django.db import connection
from scipy import stats

from grading import merit_charts, merits, standing, twoway
from grading.figures import signed, sizes
from grading.models import CoatStage, Mode
from herds.words import count_words

FROM_DAYS = 365
WHAT = "Looks in hand, in prime coat, from the first birthday on; each animal is compared with itself."


@dataclass(frozen=True)
class Fade:
    """Slope of undercolor in steps a year with its 95 % interval; None under two animals looked at twice."""

    animals: int
    looks: int
    herds: int
    slope: float | None = None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class FadePart:
    """What the sire's page says: a sentence, and rows with their drawing, where there are any."""

    sentence: str
    rows: list
    svg: str
    allows_for_graders: bool
    columns = ("Whose", "Animals", "Looks", "Steps a year", "95 % interval")

    @property
    def note(self):
        more = "what the last evaluation found grader and season to add is taken out." if self.allows_for_graders else (
            "graders and seasons are not taken out before the first evaluation."
        )  # fmt: skip
        return f"{WHAT} {more[0].upper()}{more[1:]}"


def fade_of(looks, evaluation=None):
    """Fade of a queryset of looks, those of one run's graders and seasons put right where one is given. One query."""
    chosen, params = looks.order_by().values("pk").query.sql_with_params()
    tables = _tables(evaluation)
    query = f"""
        WITH lean (observer, year, steps) AS (SELECT * FROM unnest(%s::bigint[], %s::int[], %s::float8[])),
        season (year, half, steps) AS (SELECT * FROM unnest(%s::int[], %s::int[], %s::float8[])),
        seen AS (
            SELECT l.animal_id, l.herd_id, l.age_days / 365.25 AS x,
                   l.undercolor - coalesce(lean.steps, 0) - coalesce(season.steps, 0) AS y
            FROM grading_look l
            LEFT JOIN lean ON lean.observer = l.observer_id AND lean.year = extract(year FROM l.observed_on)::int
            LEFT JOIN season ON season.year = extract(year FROM l.observed_on)::int
                AND season.half = CASE WHEN extract(month FROM l.observed_on) > 6 THEN 2 ELSE 1 END
            WHERE l.id IN ({chosen}) AND l.undercolor IS NOT NULL AND l.age_days >= %s
                AND l.mode = %s AND l.coat_stage = %s),
        per_animal AS (
            SELECT animal_id, min(herd_id) AS herd_id, count(*) AS looks,
                   regr_sxx(y, x) AS sxx, regr_sxy(y, x) AS sxy
            FROM seen GROUP BY animal_id HAVING count(*) > 1 AND regr_sxx(y, x) > 0)
        SELECT count(*), coalesce(sum(looks), 0)::int, count(DISTINCT herd_id),
               sum(sxx), sum(sxy), sum(sxx * sxx), sum(sxx * sxy), sum(sxy * sxy) FROM per_animal
    """  # noqa: S608 - only Django's compiled query is put in
    with connection.cursor() as cursor:
        cursor.execute(query, [*tables, *params, FROM_DAYS, Mode.IN_HAND.value, CoatStage.PRIME.value])
        animals, count, herds, *sums = cursor.fetchone()
    return Fade(animals, count, herds, *(_slope(animals, *sums) if animals > 1 else ()))


def _slope(animals, sxx, sxy, sxx_squared, across, sxy_squared):
    """(slope, low, high) from sums over animals."""
    slope = sxy / sxx
    scatter = max(sxy_squared - 2 * slope * across + slope**2 * sxx_squared, 0.0)
    error = (scatter * animals / (animals - 1)) ** 0.5 / sxx
    half = float(stats.t.ppf(0.975, animals - 1)) * error
    return slope, slope - half, slope + half


def _tables(evaluation):
    """Columns of what graders in a year, and halves of a year, add by a run: six lists."""
    fixed = evaluation.fixed if evaluation else {}
    leans = [
        (*map(int, key.split(":")), steps)
        for key, (steps, _) in fixed.get("grader and year", {}).items()
        if steps is not None
    ]
    seasons = [
        (*map(int, key.split(":")), steps)
        for key, (steps, _) in fixed.get("half-year", {}).items()
        if steps is not None
    ]
    return [list(column) for rows in (leans, seasons) for column in (zip(*rows, strict=True) if rows else ([], [], []))]


def of_breed(breed_id):
    """The Fade of a whole breed, as grading/standing.py keeps it."""
    return standing.kept("fade", breed_id, read_breed)


def read_breed(breed_id):
    """(looks of the breed, its Fade) read from the database now."""
    found = merits.current(breed_id, leading=True)
    looks = twoway.current_looks(breed_id)
    return looks.count(), fade_of(looks, found and found.undercolor)


def part_of(sire, looks, evaluation, club, everybody):
    """The FadePart of a sire over the looks at his progeny that may be shown. Two queries, one more when it is kept.

    everybody : whether the member may see each of these looks; else a group too small to show is held back.
    """
    his, breed = fade_of(looks, evaluation), of_breed(sire.breed_id)
    shown = [("His progeny", his)] if _enough(his, club, everybody) else []
    shows_his = bool(shown)
    shown += [("All the club", breed)] if _enough(breed, club, everybody=False) else []
    return FadePart(
        sentence=_compared(his, breed if len(shown) == 2 else None) if shows_his else _refusal(his, club, everybody),
        rows=[
            [whose, fade.animals, fade.looks, signed(fade.slope), f"{signed(fade.low)} to {signed(fade.high)}"]
            for whose, fade in shown
        ],
        svg=_drawn(shown),
        allows_for_graders=evaluation is not None,
    )


def _drawn(shown):
    bars = [{"label": whose, "value": fade.slope, "low": fade.low, "high": fade.high} for whose, fade in shown]
    return merit_charts.slope_bars(bars) if bars else ""


def _enough(fade, club, everybody):
    if fade.slope is None or fade.animals < club.ranking_progeny:
        return False
    return everybody or not twoway.held_back(fade.animals, fade.herds, club)


def _refusal(fade, club, everybody):
    if fade.slope is not None and fade.animals >= club.ranking_progeny:
        return twoway.held_back(fade.animals, fade.herds, club)
    have = count_words(fade.animals, "of his progeny was", "of his progeny were")
    return (
        f"Too few seniors to tell: {have} looked at twice or more in prime coat after the first birthday, and it takes "
        f"{club.ranking_progeny}."
    )


def _compared(his, breed):
    way = "fades" if his.slope < 0 else "darkens"
    said = f"Undercolor of his progeny {way} by {abs(his.slope):.2f} steps a year ({sizes(his.low, his.high)})."
    if his.low <= 0 <= his.high:
        said = (
            f"Undercolor of his progeny changes by {signed(his.slope)} steps a year, which may as well be none "
            f"({signed(his.low)} to {signed(his.high)})."
        )
    if breed is None:
        return said
    if breed.low <= his.high and his.low <= breed.high:
        return f"{said} The club's is {signed(breed.slope)}: no difference can be told."
    return f"{said} The club's is {signed(breed.slope)}: his fade {'more' if his.slope < breed.slope else 'less'}."
