"""What a layout warns of, and what would help; how one was changed."""

from __future__ import annotations

from collections.abc import Sequence

from trialkit.documents.answers import SiteAnswer
from trialkit.languages import Saying, translatable
from trialkit.layouts.layout_warning import FEWEST_ERROR_DEGREES, LayoutWarning
from trialkit.words.factor_words import effect_label
from trialkit.words.phrases import count, listed

MOST_NAMED = 4
"""Groups, and treatments of a group, that a sentence names."""
MORE = "Only more blocks or gardens help."
COMBINATIONS = "Add the combinations of levels that are missing."


def warning_sentence(warning: LayoutWarning) -> str:
    """Say what a layout warns of and what would help.

    Examples
    --------
    >>> warning_sentence(LayoutWarning("cannot be tested", effect="dose_tsp"))
    'The effect of dose cannot be tested, as nothing is left to judge luck by. Only more blocks or gardens help.'
    """
    found, helps = _warning(warning)
    return f"{found} {helps}"


def site_lines(made: SiteAnswer, folder: str) -> list[str]:
    """Say how a garden joined, withdrew or rejoined, and what comes next."""
    written = f"layout version {made.layout_version}, written to {listed(made.changed)}"
    if made.change == "withdrew":
        return [
            f"{made.site} withdrew on {made.on}: {written}. Its records stay, and heads without any are left out.",
            f"Next: trialkit check {folder}",
        ]
    if made.change == "rejoined":
        return [
            f"{made.site} takes part again since {made.on}: {written}. Its lots are as they were.",
            f"Next: trialkit forms {folder}",
        ]
    told = [
        f"{made.site} joined on {made.on} with {count(made.blocks or 0, 'block')} and "
        f"{count(len(made.buckets), 'bucket')}, {made.buckets[0]} to {made.buckets[-1]}: {written}. All other gardens "
        "stay as they are.",
        *labels_elsewhere_words(made.labels_also_in),
    ]
    if "sites.csv" in made.changed:
        told.append(f"Describe its water and light in {folder}/sites.csv.")
    return [*told, f"Next: trialkit forms {folder}"]


STANDS = {
    "records": translatable(
        "{folder} has records already, and another layout would part them from their treatments, so layout.csv stays. "
        "Records are what stands below the headings of heads.csv, solution.csv or visits.csv, or in the folder "
        "returned."
    ),
    "amendments": translatable(
        "{folder} has a layout that gardens joined or withdrew from (amendments.csv), so layout.csv stays."
    ),
    "forms": translatable(
        "{folder} has printed forms in its folder forms, whose labels may be on buckets, so layout.csv stays."
    ),
}
"""Why a layout is frozen."""


def why_it_stands(reason: str, folder: str) -> Saying:
    """Say why a layout stays as it is."""
    return Saying(STANDS[reason], folder=folder)


def frozen_words(reason: str, folder: str) -> Saying:
    """Say why a layout is not drawn anew, and what can be done."""
    why = why_it_stands(reason, folder)
    if reason == "forms":
        return Saying(
            '{why} Let a garden join or withdraw with trialkit site {folder} NAME --add --why "...". If nothing was '
            "handed out yet, take away the folder forms and lay out anew.",
            why=why,
            folder=folder,
        )
    return Saying(
        '{why} Let a garden join or withdraw with trialkit site {folder} NAME --add --why "...".',
        why=why,
        folder=folder,
    )


def labels_elsewhere_words(trials: Sequence[str]) -> list[str]:
    """Warn of labels that other trials have too; nothing where there are none."""
    if not trials:
        return []
    return [
        f"Some labels are also those of {listed([f'the trial {name}' for name in trials])}, in folders beside this "
        "one. Never let their buckets or records mix."
    ]


def stratum_words(term: str) -> str:
    """Name the places of a stratum.

    Examples
    --------
    >>> stratum_words("site:block:whole_plot"), stratum_words("site")
    ('whole plots', 'gardens')
    """
    place = term.split(":")[-1].replace("_", " ")
    return "gardens" if place == "site" else f"{place}s"


def _warning(warning: LayoutWarning) -> tuple[str, str]:
    effect = effect_label(warning.effect)
    match warning.code:
        case "one site":
            return (
                "There is only one garden, so the answer holds for that garden only.",
                "Add gardens to learn what holds in others.",
            )
        case "no replication":
            return "No treatment stands in two buckets, so no difference can be told from luck.", MORE
        case "disconnected":
            named = "; ".join(", ".join(group[:MOST_NAMED]) for group in warning.groups[:MOST_NAMED])
            return (
                f"The layout falls into {len(warning.groups)} groups of treatments that no block compares: {named}.",
                "Add blocks, make them larger, or lay the trial out anew.",
            )
        case "aliased":
            others = " and ".join(map(effect_label, warning.aliased_with))
            return f"The treatments tried cannot tell the effect of {effect} from that of {others}.", COMBINATIONS
        case "missing combinations":
            full = " in full" if warning.estimable_in_part else ""
            return (
                f"Combinations of levels are missing, so the effect of {effect} cannot be estimated{full}.",
                COMBINATIONS,
            )
        case "confounded with blocks":
            return (
                f"No part of the layout estimates the whole effect of {effect}: it is mixed up with blocks.",
                "Make blocks larger, or spread its levels over every block.",
            )
        case "cannot be tested":
            return f"The effect of {effect} cannot be tested, as nothing is left to judge luck by.", MORE
        case "few error degrees of freedom":
            differs = "how much it differs between gardens, with " if warning.between_sites else ""
            return (
                f"The effect of {effect} is judged by {differs}{warning.error_df} degrees of freedom for error. Below "
                f"{FEWEST_ERROR_DEGREES}, intervals widen fast.",
                "More gardens raise that number. More blocks in each do not."
                if warning.between_sites
                else "More blocks or gardens raise that number.",
            )
        case "confounded":
            return (
                f"The effect of {effect} is mixed up with {stratum_words(warning.stratum)}. It is judged by how much "
                "those differ, not by how much buckets do.",
                "If that was not meant, spread its levels over every such place.",
            )
