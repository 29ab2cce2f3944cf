"""From the line model to the electrical formulas: what each lead carries and what each reading is worth."""

from layoutplan.exposure.assess import Assessment, assess, tower_figures
from layoutplan.exposure.coupling import CouplingTable
from layoutplan.exposure.figures import FAULT, SERVICE
from layoutplan.exposure.measured import measured
from layoutplan.exposure.network import Network, build_network, require_figures
from layoutplan.exposure.terms import FanTerms, fan_terms

__all__ = [
    "FAULT",
    "SERVICE",
    "Assessment",
    "CouplingTable",
    "FanTerms",
    "Network",
    "assess",
    "build_network",
    "fan_terms",
    "measured",
    "require_figures",
    "tower_figures",
]
