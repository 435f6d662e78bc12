"""Choosing matings: which pairs, how they rank and why (`ranking`), and the whole herd at once (`optimum`)."""
