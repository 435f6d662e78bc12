"""Shares of a count with their 95 % intervals, for all pages; knows no Django."""

from scipy import stats


def wilson(seen, of):
    """(low, high), 0 to 1, of a share of `of`, at least 1. Source: Wilson (1927), J. Am. Stat. Assoc. 22:209-212."""
    found = stats.binomtest(seen, of).proportion_ci(method="wilson")
    return float(found.low), float(found.high)
