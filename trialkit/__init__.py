"""Plan, run and answer replicated lettuce-bucket trials in real gardens.

One function for each step, in the order of a season:

`check(folder)` reads a trial folder and finds every problem; `lay_out(protocol, sites)` randomises; `analyse(trial)`
answers; `report_html(results)` writes the page. `fit_mixed(data, formula, random)` is the engine underneath, usable
on its own.

Examples
--------
>>> import trialkit
>>> result = trialkit.check(trialkit.example_folder("autumn_dose"))
>>> result.ok, len(result.trial.heads)
(True, 768)
>>> layout = trialkit.lay_out(result.trial.protocol, result.trial.sites)
>>> bool((layout["bucket"] == result.trial.layout["bucket"]).all())
True
>>> results = trialkit.analyse(result.trial)
>>> results.decision.verdict.value, results.decision.recommended.cultivar
('change', 'Fenleaf')
>>> trialkit.report_html(results).startswith("<!DOCTYPE html>")
True
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from trialkit._version import __version__

if TYPE_CHECKING:
    from trialkit.analysis import analyse
    from trialkit.interface.ledger_object import Ledger
    from trialkit.interface.trial_object import Trial
    from trialkit.mixed import fit_mixed
    from trialkit.protocol.randomise import randomise as lay_out
    from trialkit.protocol.starting import example_folder
    from trialkit.report.page import report_html
    from trialkit.rules.trial_folder import check_trial as check

__all__ = [
    "Ledger",
    "Trial",
    "__version__",
    "analyse",
    "check",
    "example_folder",
    "fit_mixed",
    "lay_out",
    "report_html",
]

# Name -> (module, name there); imported when first used, so that the command line starts quickly.
_PUBLIC = {
    "Ledger": ("trialkit.interface.ledger_object", "Ledger"),
    "Trial": ("trialkit.interface.trial_object", "Trial"),
    "analyse": ("trialkit.analysis", "analyse"),
    "check": ("trialkit.rules.trial_folder", "check_trial"),
    "example_folder": ("trialkit.protocol.starting", "example_folder"),
    "fit_mixed": ("trialkit.mixed", "fit_mixed"),
    "lay_out": ("trialkit.protocol.randomise", "randomise"),
    "report_html": ("trialkit.report.page", "report_html"),
}


def __getattr__(name: str) -> Any:
    if name not in _PUBLIC:
        raise AttributeError(f"module 'trialkit' has no attribute {name!r}")
    module, attribute = _PUBLIC[name]
    return getattr(import_module(module), attribute)


def __dir__() -> list[str]:
    return sorted(__all__)
