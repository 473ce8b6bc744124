"""What every process that runs a command would load for itself: loaded once, by the server that forks them."""

import matplotlib.pyplot
import openpyxl
import pandera.pandas
import pingouin
import scipy.stats
import seaborn

import trialkit.analysis
import trialkit.evidence.versions
import trialkit.forms.pack
import trialkit.planning.trial_plan
import trialkit.report
import trialkit.returns.collect

__all__ = ["matplotlib", "openpyxl", "pandera", "pingouin", "scipy", "seaborn", "trialkit"]
