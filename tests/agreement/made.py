"""Invented calibration sets with known truths, leans and scatter."""

import numpy as np

LEAN = np.array([0.8, -0.5, 0.0, 0.3, -0.6])
SCATTER = np.array([0.5, 0.6, 0.7, 0.9, 1.1])


def graded(rng, truth, lean=LEAN, scatter=SCATTER, missing=0.0):
    """Whole steps 1 to 9 of graders who see truth (photos,) each their own way; all but the last miss some (NaN)."""
    steps = truth[:, None] + lean + scatter * rng.standard_normal((len(truth), len(scatter)))
    steps = np.clip(np.round(steps), 1, 9)
    steps[:, :-1][rng.random((len(truth), len(scatter) - 1)) < missing] = np.nan
    return steps


def beside_consensus(lean, weight):
    """Leans as a consensus states them: their mean by weight is no lean at all."""
    return lean - lean @ weight / weight.sum()
