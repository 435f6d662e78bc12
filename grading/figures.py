"""How figures read on grading's pages, and the one constant of their intervals."""

WITHIN = 1.959964  # standard errors each way that hold 95 of 100


def signed(steps, decimals=2):
    """'+0.42', '−0.10', and '0.00' without a sign; with a true minus sign."""
    text = f"{abs(steps):.{decimals}f}"
    return text if float(text) == 0 else f"{'+' if steps > 0 else '−'}{text}"


def sizes(low, high, decimals=2):
    """The ends of an interval on one side of zero, behind a word that says which: 'fades by 0.30 (0.13 to 0.48)'."""
    least, most = sorted((abs(low), abs(high)))
    return f"{least:.{decimals}f} to {most:.{decimals}f}"


def percent(share):
    """'54 %' of a share of 0 to 1, with a space that does not break; '0.4 %' where it is under one in a hundred."""
    return f"{_hundredths(share)}\N{NO-BREAK SPACE}%"


def percents(low, high):
    """The ends of an interval of shares: '84 to 100 %', '0.5 to 2 %'."""
    return f"{_hundredths(low)} to {percent(high)}"


def _hundredths(share):
    return f"{100 * share:.{1 if 0 < share < 0.01 else 0}f}"
