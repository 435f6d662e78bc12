"""What can be wrong with a pedigree given as rows; every error keeps the rows it speaks of in `rows`."""

from collections.abc import Iterable


class PedigreeError(ValueError):
    """A pedigree, or a question about it, that no figure can be worked out from."""

    def __init__(self, message: str, rows: Iterable[int] = ()) -> None:
        super().__init__(message)
        self.rows = tuple(int(row) for row in rows)


class NotRows(PedigreeError, TypeError):
    """Something that is not a list of whole row numbers."""


class RowOutOfRange(PedigreeError, IndexError):
    """A row number that no animal of this pedigree has."""


class SameParent(PedigreeError):
    """Sire and dam of an animal are one and the same."""

    def __init__(self, rows: Iterable[int]) -> None:
        rows = list(rows)
        super().__init__(
            f"Sire and dam are the same animal in {in_words(rows)}. A rabbit has two parents: change one of them.",
            rows,
        )


class PedigreeLoop(PedigreeError):
    """An animal that is its own ancestor; `rows` goes once round the loop, each row a parent of the one before."""

    def __init__(self, rows: Iterable[int]) -> None:
        rows = [int(row) for row in rows]
        if len(rows) == 1:
            said = f"Row {rows[0]} is recorded as its own parent."
        else:
            chain = [*rows[:12], "and so on, back to", rows[0]] if len(rows) > 12 else [*rows, rows[0]]
            said = f"Row {rows[0]} is recorded as its own ancestor, child to parent: " + " <- ".join(
                str(row) for row in chain
            )
            said += "."
        super().__init__(f"{said} Change the sire or the dam of one of them.", rows)


class BothRoles(PedigreeError):
    """An animal recorded as the sire of some and the dam of others."""

    def __init__(self, rows: Iterable[int]) -> None:
        rows = list(rows)
        super().__init__(
            f"The same animal is a sire in one place and a dam in another: {in_words(rows)}. "
            "Correct its sex or the parents.",
            rows,
        )


def in_words(rows: Iterable[int], most: int = 8) -> str:
    """`row 3`, `rows 3 and 7`, or the first few of many and how many more there are."""
    names = [str(int(row)) for row in rows]
    if len(names) == 1:
        return f"row {names[0]}"
    if len(names) > most:
        return f"rows {', '.join(names[:most])} and {len(names) - most} more"
    return f"rows {', '.join(names[:-1])} and {names[-1]}"
