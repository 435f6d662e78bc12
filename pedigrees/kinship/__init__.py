"""Relationship, inbreeding and population figures from a pedigree given as arrays; knows no Django.

A pedigree is two arrays, `sire` and `dam`: entry i is the row number of that parent of animal i, -1 if unknown. Rows
may come in any order, and answers come in the order given. Nothing here minds sex; refuse_both_roles does.
"""

from .coefficient import inbreeding, mendelian_variance
from .errors import BothRoles, NotRows, PedigreeError, PedigreeLoop, RowOutOfRange, SameParent
from .founders import (
    Ancestors,
    ancestor_contributions,
    effective_ancestors,
    effective_founders,
    founder_contributions,
    founder_genomes,
)
from .paths import Chain, CommonAncestors, chains, common_ancestors
from .pedigree import ancestry_order, refuse_both_roles
from .population import (
    EffectiveSize,
    GenerationInterval,
    completeness,
    effective_size,
    equivalent_generations,
    fully_known_generations,
    generation_interval,
    longest_line,
    rate_between,
    size_from_family_variance,
    size_from_parents,
    size_from_rate,
    size_over_generations,
)
from .relationship import coancestry, litter_inbreeding, mean_coancestry, relationship_inverse

__all__ = [
    "Ancestors",
    "BothRoles",
    "Chain",
    "CommonAncestors",
    "EffectiveSize",
    "GenerationInterval",
    "NotRows",
    "PedigreeError",
    "PedigreeLoop",
    "RowOutOfRange",
    "SameParent",
    "ancestor_contributions",
    "ancestry_order",
    "chains",
    "coancestry",
    "common_ancestors",
    "completeness",
    "effective_ancestors",
    "effective_founders",
    "effective_size",
    "equivalent_generations",
    "founder_contributions",
    "founder_genomes",
    "fully_known_generations",
    "generation_interval",
    "inbreeding",
    "litter_inbreeding",
    "longest_line",
    "mean_coancestry",
    "mendelian_variance",
    "rate_between",
    "refuse_both_roles",
    "relationship_inverse",
    "size_from_family_variance",
    "size_from_parents",
    "size_from_rate",
    "size_over_generations",
]
