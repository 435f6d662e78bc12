"""How alike graders see: arrays in, small dataclasses out; knows no Django.

NaN in an answer is 'cannot tell'. A figure that cannot be worked out has no value and a sentence that says why.
`kappa`, `intraclass` and `alpha` say how much graders agree, `truths` what they see together and how far each may be
trusted, `profile` what one grader does. The same answers give the same digits.
"""

from .alpha import krippendorff_alpha
from .errors import WrongInput
from .estimates import Estimate
from .intraclass import intraclass_correlation
from .kappa import weighted_kappa
from .profile import GraderProfile, grader_profile
from .truths import Consensus, consensus

__all__ = [
    "Consensus",
    "Estimate",
    "GraderProfile",
    "WrongInput",
    "consensus",
    "grader_profile",
    "intraclass_correlation",
    "krippendorff_alpha",
    "weighted_kappa",
]
