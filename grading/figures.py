"""How figures read on grading's pages, and the one constant of their intervals."""

WITHIN = 1.959964  # standard errors each way that hold 95 of 100


def signed(steps, decimals=2):
    """'+0.42', '−0.10', and '0.00' without a sign; with a true minus sign."""
    text = f"{abs(steps):.{decimals}f}"
    return text if float(text) == 0 else f"{'+' if steps > 0 else '−'}{text}"


def percent(share):
    """'54 %' of a share of 0 to 1, with a space that does not break; '0.4 %' where it is under one in a hundred."""
    decimals = 1 if 0 < share < 0.01 else 0
    return f"{100 * share:.{decimals}f}\N{NO-BREAK SPACE}%"
