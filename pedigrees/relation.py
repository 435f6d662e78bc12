"""Why two animals are related: their common ancestors, and the paths that lead there, by Wright's rule.

Coancestry is the sum over all paths of (1/2) ** n * (1 + F), n being the animals on the path and F the inbreeding of
the ancestor at which it turns. Source: Wright (1922), American Naturalist 56:330-338.
"""

from dataclasses import dataclass

from herds.actions.matings import CLOSE_WORDS
from herds.models import Animal, Sex
from herds.relations import close_relation, with_grandparents
from pedigrees import kinship
from pedigrees.load import ancestors_of, by_name

MOST_PATHS = 200
SHOWN_AT_ONCE = 12
MOST_ANCESTORS = 30
CLOSE = 1 / 16  # of first cousins and nearer a caution is said


@dataclass
class Path:
    """One way up from the first animal to a common ancestor and down to the second."""

    up: list  # from the first animal to below the ancestor
    ancestor: Animal
    down: list  # from below the ancestor to the second animal
    inbreeding: float  # of the ancestor
    contribution: float

    @property
    def animals(self):
        """How many stand on it, the two and the ancestor counted."""
        return len(self.up) + 1 + len(self.down)


@dataclass
class Sharing:
    """A common ancestor: all that it adds, and the fewest generations from each of the two up to it."""

    animal: Animal
    contribution: float
    share: float
    from_first: int
    from_second: int


@dataclass
class Relation:
    first: Animal
    second: Animal
    coancestry: float
    ancestors: list
    more_ancestors: int
    paths: list
    said: str
    mates: bool

    @property
    def listed(self):
        """What the paths listed add up to."""
        return sum(path.contribution for path in self.paths)

    @property
    def complete(self):
        return abs(self.listed - self.coancestry) < 1e-9

    @property
    def at_once(self):
        return self.paths[:SHOWN_AT_ONCE]

    @property
    def folded(self):
        return self.paths[SHOWN_AT_ONCE:]

    @property
    def caution(self):
        return CLOSE_WORDS if self.mates and self.coancestry >= CLOSE else ""


def relation_of(first, second) -> Relation:
    """How two different animals are related, from all that the registry knows of their ancestors. Four queries."""
    pedigree = ancestors_of([first.pk, second.pk])
    one, other = (int(row) for row in pedigree.rows_of([first.pk, second.pk]))
    f = pedigree.inbreeding()
    with by_name(pedigree):
        common = kinship.common_ancestors(pedigree.sire, pedigree.dam, one, other, inbreeding=f)
        chains = kinship.chains(pedigree.sire, pedigree.dam, one, other, at_most=MOST_PATHS, inbreeding=f)
    rows = set(common.rows[:MOST_ANCESTORS].tolist())
    rows |= {row for chain in chains for row in (*chain.first_line, *chain.second_line)}
    animals = Animal.objects.in_bulk([int(pedigree.ids[row]) for row in rows])
    at = {row: animals[int(pedigree.ids[row])] for row in rows}
    sharing = [
        Sharing(at[row], add, add / common.coancestry, up, down)
        for row, add, up, down in zip(
            common.rows[:MOST_ANCESTORS].tolist(), common.contribution.tolist(), common.from_first.tolist(),
            common.from_second.tolist(), strict=False,
        )
    ]  # fmt: skip
    paths = [
        Path(
            [at[row] for row in chain.first_line[:-1]],
            at[chain.ancestor],
            [at[row] for row in reversed(chain.second_line[:-1])],
            float(f[chain.ancestor]),
            chain.contribution,
        )
        for chain in chains
    ]
    family = with_grandparents(first.pk, second.pk)
    return Relation(
        first=first,
        second=second,
        coancestry=common.coancestry,
        ancestors=sharing,
        more_ancestors=len(common.rows) - len(sharing),
        paths=paths,
        said=close_relation(family[first.pk], family[second.pk]),
        mates=Sex.UNKNOWN not in (first.sex, second.sex) and first.sex != second.sex,
    )
