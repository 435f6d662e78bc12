"""Finding anything by what people type: animals by mark, number or name, herds, members.

Three rounds, each asked only while the one before found little: exactly so, beginning so, one letter off. A round is a
handful of index lookups that each give some keys with a rank, since a club has 100,000 animals; only what is shown is
then fetched. The conditions call the functions of the migration that their indexes are made from.
"""

from dataclasses import dataclass, field
from functools import cached_property

from django.db import connection
from django.db.models import Exists, OuterRef, Prefetch

from clubsite.members.listing import listed_members

from .models import PRESENT, Animal, Herd, Mark
from .spelling import one_slip, plain, words

MOST = 60  # animals that are listed, over three pages; who gets so many types one letter more
NAMED = 20  # herds and members that are listed
FEW = 5  # with fewer than so many found, a slip of the finger is thought of
SLIP_LETTERS = 4  # shorter texts are one letter off from everything
LONGEST = 60

# Ranks: how well a row fits; the first three are exact.
NOW_MARKED, CALLED, ONCE_MARKED, BEGINS, HAS, SLIP = range(6)


@dataclass
class Found:
    """What fits a typed text: keys with their ranks, the likeliest first."""

    text: str
    member: object
    animals: dict = field(default_factory=dict)
    herds: dict = field(default_factory=dict)
    members: dict = field(default_factory=dict)

    @property
    def nothing(self):
        return not (self.animals or self.herds or self.members)

    @property
    def slipped(self):
        """True when only texts one letter off fit."""
        return not self.nothing and all(rank == SLIP for group in self._groups for rank in group.values())

    @property
    def _groups(self):
        return self.animals, self.herds, self.members

    def only_exact(self):
        """The one thing that is called exactly so, or None when there is none, or more than one."""
        exact = [[key for key, rank in group.items() if rank <= ONCE_MARKED] for group in self._groups]
        if sum(map(len, exact)) != 1:
            return None
        fetch = (self.some_animals, self.some_herds, self.some_members)
        return next(fetched(keys)[0] for fetched, keys in zip(fetch, exact, strict=True) if keys)

    def some_animals(self, keys):
        """The animals of these keys with their marks, and in each the mark it no longer has by which it was found."""
        marks = Prefetch("marks", Mark.objects.as_read().select_related("replaced_by"), to_attr="all_marks")
        known = Animal.objects.outcome_known_to(self.member).filter(pk=OuterRef("pk"))
        animals = Animal.objects.filter(pk__in=keys).annotate(outcome_shown=Exists(known))
        found = animals.select_related("herd", "bred_in").prefetch_related(marks).in_bulk()
        for animal in found.values():
            animal.old_mark = _old_mark(animal, self.wanted)
        return [found[key] for key in keys]

    def some_herds(self, keys):
        found = Herd.objects.filter(pk__in=keys).with_owners().in_bulk()
        return [found[key] for key in keys]

    def some_members(self, keys):
        found = listed_members(self.member).filter(pk__in=keys).in_bulk()
        return [found[key] for key in keys]

    @cached_property
    def wanted(self):
        return plain(self.text)


def find(text, member):
    """Found: what the member may see of what this text may mean."""
    found = Found(" ".join(text.replace("\x00", "").split())[:LONGEST], member)
    wanted, parts = found.wanted, words(found.text)
    if not wanted:
        return found
    own = list(Herd.objects.kept_by(member).values_list("pk", flat=True))
    herds, members = Herd.objects.visible_to(member), listed_members(member)
    ranks = _ranked(called(wanted, own))
    if len(ranks) < MOST:
        ranks = _ranked(beginning(wanted, parts, own)) | ranks
    found.herds = _by_name(herds, _named("herds_herd", ("name", "prefix"), wanted, parts))
    found.members = _by_name(members, _named("members_member", ("name",), wanted, parts))
    if len(wanted) >= SLIP_LETTERS and _is_little([ranks, found.herds, found.members]):
        ranks = _ranked(slips(wanted, parts)) | ranks
        found.herds = found.herds or _by_name(herds, _slipped("herds_herd", ("name", "prefix"), wanted))
        found.members = found.members or _by_name(members, _slipped("members_member", ("name",), wanted))
    found.animals = _nearest_first(Animal.objects.visible_to(member), ranks, set(own))
    return found


def _is_little(groups):
    """True while nothing is called exactly so, and little begins so."""
    ranks = [rank for group in groups for rank in group.values()]
    return len(ranks) < FEW and min(ranks, default=SLIP) > ONCE_MARKED


def called(wanted, own):
    """(rank, SQL, values): animals called exactly so by mark, name, mark and name, prefix and name, prefix and mark."""
    heads = [wanted[:length] for length in range(1, len(wanted))]
    by_mark = (
        "SELECT a.id FROM herds_mark m JOIN herds_animal a ON a.id = m.animal_id WHERE herds_plain(m.text) = %s "
        "AND m.replaced_on IS {} ORDER BY a.herd_id = ANY(%s) DESC NULLS LAST"
    )
    yield NOW_MARKED, by_mark.format("NULL"), [wanted, own]
    yield ONCE_MARKED, by_mark.format("NOT NULL"), [wanted, own]
    yield (
        CALLED,
        "SELECT a.id FROM herds_animal a WHERE herds_plain(a.name) = %s ORDER BY a.herd_id = ANY(%s) DESC NULLS LAST",
        [wanted, own],
    )
    yield (
        CALLED,
        "SELECT a.id FROM herds_mark m JOIN herds_animal a ON a.id = m.animal_id WHERE herds_plain(m.text) = ANY(%s) "
        "AND m.replaced_on IS NULL AND a.name <> '' AND herds_plain(m.text) || herds_plain(a.name) = %s",
        [heads, wanted],
    )
    for what in (
        "SELECT t.id FROM herds_herd h JOIN herds_animal t ON t.bred_in_id = h.id AND herds_plain(t.name)",
        "SELECT t.animal_id FROM herds_herd h JOIN herds_mark t ON t.issued_by_id = h.id AND herds_plain(t.text)",
    ):
        with_prefix = "= substr(%s, length(herds_plain(h.prefix)) + 1)"
        prefixed = "WHERE h.prefix <> '' AND herds_plain(h.prefix) = ANY(%s)"
        yield CALLED, f"{what} {with_prefix} {prefixed}", [wanted, heads]


def beginning(wanted, parts, own):
    """(rank, SQL, values): animals whose mark or name begins so, or has words or a number that do."""
    start = _pattern(wanted)
    yield (
        BEGINS,
        "SELECT a.id FROM herds_animal a WHERE a.herd_id = ANY(%s) AND (herds_plain(a.name) LIKE %s OR EXISTS "
        "(SELECT 1 FROM herds_mark m WHERE m.animal_id = a.id AND herds_plain(m.text) LIKE %s))",
        [own, start, start],
    )
    yield BEGINS, "SELECT m.animal_id FROM herds_mark m WHERE herds_plain(m.text) LIKE %s", [start]
    yield BEGINS, "SELECT a.id FROM herds_animal a WHERE herds_plain(a.name) LIKE %s", [start]
    if len(parts) > 1:
        yield HAS, *_all_of([_word(part) for part in parts])
    else:
        yield HAS, "SELECT a.id FROM herds_animal a WHERE herds_words(a.name) @@ %s::tsquery", [_lexeme(wanted)]
    if wanted.isascii() and wanted.isdigit():
        yield HAS, "SELECT m.animal_id FROM herds_mark m WHERE herds_numbers(m.text) @@ %s::tsquery", [f"'{wanted}'"]


def slips(wanted, parts):
    """(rank, SQL, values): animals whose mark or name, or one word of several, is one letter off."""
    near = sorted(one_slip(wanted))
    yield SLIP, "SELECT m.animal_id FROM herds_mark m WHERE herds_plain(m.text) = ANY(%s)", [near]
    yield SLIP, "SELECT a.id FROM herds_animal a WHERE herds_plain(a.name) = ANY(%s)", [near]
    for at, part in enumerate(parts):
        if len(part) >= SLIP_LETTERS:
            others = [_word(other) for place, other in enumerate(parts) if place != at]
            yield SLIP, *_all_of([_word_with_a_slip(part), *others])


def _word(word):
    """Animals of which a word of the name, a mark or the breeder's herd begins so: one word of several."""
    lexeme = _lexeme(word)
    return (
        "(SELECT a.id FROM herds_animal a WHERE herds_words(a.name) @@ %s::tsquery UNION "
        "SELECT m.animal_id FROM herds_mark m WHERE herds_plain(m.text) LIKE %s UNION "
        "SELECT a.id FROM herds_animal a WHERE a.bred_in_id = ANY(ARRAY(SELECT h.id FROM herds_herd h "
        "WHERE herds_words(h.prefix) @@ %s::tsquery OR herds_words(h.name) @@ %s::tsquery)))",
        [lexeme, _pattern(word), lexeme, lexeme],
    )


def _word_with_a_slip(word):
    near = sorted(one_slip(word))
    return (
        "(SELECT a.id FROM unnest(%s::tsquery[]) w JOIN herds_animal a ON herds_words(a.name) @@ w UNION "
        "SELECT m.animal_id FROM herds_mark m WHERE herds_plain(m.text) = ANY(%s) UNION "
        "SELECT a.id FROM herds_animal a WHERE a.bred_in_id = ANY(ARRAY(SELECT h.id FROM herds_herd h "
        "WHERE herds_plain(h.prefix) = ANY(%s))))",
        [_lexemes(near), near, near],
    )


def _named(table, columns, wanted, parts):
    """(rank, SQL, values): rows of a table whose text is so, begins so, or has words that do."""
    every_word = "&".join(_lexeme(part) for part in parts)
    for name in columns:
        yield CALLED, _where(table, f"herds_plain({name}) = %s"), [wanted]
        yield BEGINS, _where(table, f"herds_plain({name}) LIKE %s"), [_pattern(wanted)]
        yield HAS, _where(table, f"herds_words({name}) @@ %s::tsquery"), [every_word]


def _slipped(table, columns, wanted):
    """(rank, SQL, values): rows of a table whose text, or a word of it, is one letter off."""
    near = sorted(one_slip(wanted))
    for name in columns:
        yield SLIP, _where(table, f"herds_plain({name}) = ANY(%s)"), [near]
        yield SLIP, _each_word(table, name), [_lexemes(near)]


def _where(table, condition):
    return f"SELECT id FROM {table} WHERE {condition}"  # noqa: S608 - names from this file


def _each_word(table, column):
    """SQL for the rows that have one of many words: each word is looked up by itself, which goes by index."""
    return f"SELECT t.id FROM unnest(%s::tsquery[]) w JOIN {table} t ON herds_words(t.{column}) @@ w"  # noqa: S608


def _all_of(parts):
    sql = " INTERSECT ".join(sql for sql, _ in parts)
    return f"SELECT * FROM ({sql}) every_word", [value for _, values in parts for value in values]  # noqa: S608


def _lexeme(word, end=":*"):
    return "'" + word.replace("\\", "\\\\") + "'" + end


def _lexemes(near):
    return [_lexeme(each, "") for each in near]


def _pattern(text):
    return text.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_") + "%"


def _ranked(parts):
    """{key: its best rank} of what these lookups find, so many of each at most."""
    parts = list(parts)
    lookups = [f"(SELECT *, {rank} FROM ({sql} LIMIT {MOST + 1}) found)" for rank, sql, _ in parts]  # noqa: S608
    sql = " UNION ALL ".join(lookups)
    with connection.cursor() as cursor:
        cursor.execute(sql, [value for _, _, values in parts for value in values])
        ranks: dict = {}
        for key, rank in cursor.fetchall():
            ranks[key] = min(rank, ranks.get(key, rank))
    return ranks


def _nearest_first(animals, ranks, own):
    """The keys that may be seen, best rank first; then the member's own, those that are in their herd, and by mark."""
    rows = animals.filter(pk__in=ranks).values_list("pk", "herd", "status", "mark_text", "name")
    order = {
        pk: (ranks[pk], herd not in own, status not in PRESENT, not mark, _natural(mark), name, pk)
        for pk, herd, status, mark, name in rows
    }
    return {pk: ranks[pk] for pk in sorted(order, key=order.get)[: MOST + 1]}


def _natural(mark):
    """A2 before A10, as people read marks."""
    digits = "".join(letter if letter.isdigit() else " " for letter in mark).split()
    letters = "".join(letter for letter in plain(mark) if not letter.isdigit())
    return letters, [int(number) for number in digits]


def _by_name(rows, parts):
    ranks = _ranked(parts)
    names = dict(rows.filter(pk__in=ranks).values_list("pk", "name"))
    return {pk: ranks[pk] for pk in sorted(names, key=lambda pk: (ranks[pk], plain(names[pk]), pk))}


def _old_mark(animal, wanted):
    """The mark that it no longer has, when only that one begins so."""
    fitting = [mark for mark in animal.all_marks if plain(mark.text).startswith(wanted)]
    return fitting[0] if fitting and all(mark.replaced_on for mark in fitting) else None
