"""What the trials of a ledger say together, in sentences made from the facts of the recommended defaults."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from trialkit.documents.recommended import (
    Change,
    EvidenceTrial,
    GardenGain,
    Practice,
    ProposedTrial,
    Recommended,
    TrialName,
)
from trialkit.domain.units import Measures
from trialkit.languages import gettext, ngettext, translatable
from trialkit.solution.acid_steps import LOWEST_PH, LOWEST_PH_AFTER_A_STEP
from trialkit.words import decision_words as decision
from trialkit.words.feed_words import part_words
from trialkit.words.handout_words import alkalinity_words
from trialkit.words.measures import (
    BOTH,
    MeasureSystem,
    grams_words,
    head_weight,
    in_measures,
    least_weight,
    several_doses,
    spoons,
)
from trialkit.words.phrases import chance, count, listed, season_words
from trialkit.words.treatment_names import acid_words, treatment_words

MOST_NAMED = 3
LEAST_WORTH_G = 0.1
SUN_WORDS: Mapping[str, str] = {
    "little sun": translatable("little sun"),
    "some sun": translatable("some sun"),
    "much sun": translatable("much sun"),
}
"""Classes of sun, as `trialkit.evidence.recommending` names them."""
GARDEN_WORDS: Mapping[str, str] = {
    "water": "By the alkalinity of the water",
    "sun": "By the sun",
    "kind": "By the kind of garden",
    "garden": "In gardens that came back",
}


def answer(document: Recommended, measures: Measures = "both") -> tuple[str, ...]:
    """What to do, how sure, what it rests on, and what the nutrient was given with."""
    said = decision.sentences(document.decision, _system(document.recommended, measures))
    return (*said, *parts_sentences(document.recommended, measures))


def parts_sentences(practice: Practice, measures: Measures) -> Iterator[str]:
    """Say what goes into each bucket beside the nutrient, where anything does."""
    parts = [part_words(part.product, part.tsp, part.g_per_tsp, measures) for part in practice.parts]
    if parts:
        yield gettext("After the nutrient, stir {parts} into each bucket.", parts=listed(parts))


def what_would_change_it(document: Recommended, measures: Measures = "both") -> tuple[str, ...]:
    """What would change the answer."""
    return decision.would_change(document.decision, _system(document.recommended, measures))


def scope(document: Recommended, measures: Measures = "both") -> tuple[str, ...]:
    """What the answer covers and what it leaves out."""
    return decision.scope(document.decision, _system(document.recommended, measures))


def acid_taken(document: Recommended) -> Iterator[str]:
    """Where the handout's amounts of acid come from."""
    found = document.acid_ratio
    if not document.acid:
        return
    if found is None:
        yield "The amounts of acid on the handout are as chemistry has them. No trial's readings tell what waters took."
        return
    limits = f"{document.decision.thresholds.confidence * 100:g} % interval {found.lower:.2f} to {found.upper:.2f}"
    yield (
        f"The amounts of acid on the handout are {found.ratio:.2f} times what chemistry says ({limits}). That is what "
        f"{count(found.mixings, 'mixing')} in {count(found.gardens, 'garden')} of the trials took. Even in the water "
        f"of least alkalinity of its class, no amount brings the pH below {LOWEST_PH:g}. None is raised so far that by "
        f"chemistry the pH there would fall below {LOWEST_PH_AFTER_A_STEP:g}."
    )


def set_beside(document: Recommended, measures: Measures = "both") -> str:
    """Name what gains are told of, and what they are told over."""
    system = _system(document.recommended, measures)
    ours, practice = (
        treatment_words(one, system) for one in (document.decision.alternative, document.decision.current)
    )
    return f"These are gains of {ours}. They are over the current practice, {practice}."


def trial_by_trial(document: Recommended, measures: Measures = "both") -> str:
    """What the trials found by themselves, and why the answer is not just their mean."""
    both = [one for one in document.evidence if one.gain is not None]
    gain = document.decision.shown.gain
    assert gain is not None  # only the current practice has none
    system = MeasureSystem(measures)
    found = _as_recorded(_subject(document), both, system)
    return f"{found} From all trials together we expect a gain of {head_weight(gain.estimate, system)}."


def _subject(document: Recommended) -> str:
    """Name what is set beside the current practice."""
    return "this treatment" if document.decision.verdict.changes else "the best alternative"


def _as_recorded(subject: str, both: Sequence[EvidenceTrial], system: MeasureSystem) -> str:
    gains = [one.gain or 0.0 for one in both]
    pair = f"both {subject} and the current practice"
    if not gains:
        return f"No trial had {pair} in one garden."
    if len(gains) == 1:
        return f"One trial had {pair} in its gardens. As recorded, the gain was {head_weight(gains[0], system)}."
    ahead = sum(gain > 0 for gain in gains)
    whole = "both" if len(gains) == 2 else "all"
    among = whole if ahead == len(gains) else str(ahead or "none")
    return (
        f"{len(gains)} trials had {pair} in their gardens. As recorded, it was ahead in {among} of them, with gains of "
        f"{head_weight(min(gains), system)} to {head_weight(max(gains), system)}."
    )


def what_is_not_known(document: Recommended) -> Iterator[str]:
    """What the trials cannot tell."""
    apart = [one for one in document.evidence if one.kind == "trial" and one.gain is None]
    if apart:
        names = "; ".join(trial_name(one.trial, one.season) for one in apart[:MOST_NAMED])
        more = f"; and {len(apart) - MOST_NAMED} more" if len(apart) > MOST_NAMED else ""
        yield (
            f"In {count(len(apart), 'trial')} no garden had both {_subject(document)} and the current practice "
            f"({names}{more}). What was tried there still counts."
        )
    yield from not_tried(document)
    if document.nitrogen_alone:
        alone = document.nitrogen_alone
        yield (
            f"No trial used this much of {alone.product}. The dose is calculated from {', '.join(alone.tried)} by "
            "nitrogen alone, and the other elements differ. Try it before you print it."
        )


def not_tried(document: Recommended) -> Iterator[str]:
    """Gardens in which the treatment that gains are told of was not yet tried."""
    new = [garden_name(one) for one in document.by_garden if not one.tried and one.of != "garden"]
    if new:
        subject = _subject(document)
        found = f"{subject[:1].upper()}{subject[1:]} was not yet tried in {listed(new)}."
        yield f"{found} What is said of these comes from other gardens."


def garden_name(one: GardenGain) -> str:
    """Name gardens that are alike.

    Examples
    --------
    >>> from trialkit.documents.decision import Gain
    >>> garden_name(GardenGain("water", "low", 2, True, Gain(1, 0, 2)))
    'water of low alkalinity'
    >>> garden_name(GardenGain("kind", "school", 2, True, Gain(1, 0, 2)))
    'gardens of the kind “school”'
    """
    match one.of:
        case "water":
            return gettext("water of {alkalinity} alkalinity", alkalinity=alkalinity_words(one.name))
        case "sun":
            return gettext(
                "gardens with {sun}", sun=gettext(SUN_WORDS[one.name]) if one.name in SUN_WORDS else one.name
            )
        case "kind":
            return gettext("gardens of the kind “{kind}”", kind=one.name)
        case _:
            return one.name


def gains_by_garden(document: Recommended, measures: Measures = "both") -> str:
    """Say between what the gain lies over kinds of garden, and where it was not yet tried."""
    kinds = document.by_garden
    system = MeasureSystem(measures)
    low, high = (head_weight(pick(one.gain.estimate for one in kinds), system) for pick in (min, max))
    same = f"The expected gain is {low} in every kind of garden." if low == high else ""
    said = same or f"From one kind of garden to another, the expected gain goes from {low} to {high}."
    return " ".join([said, *not_tried(document)])


def changes(document: Recommended, measures: Measures = "both") -> Iterator[str]:
    """What changed since the version before."""
    change = document.change
    if change is None:
        yield gettext("This is the first version.")
        return
    yield from _news(change)
    then, now = change.recommended, document.recommended
    if not now.is_like(then):
        old, new = (treatment_words(one.treatment, _system(one, measures)) for one in (then, now))
        yield gettext("The default was {treatment}.", treatment=old)
        yield gettext("It is now {treatment}.", treatment=new)
    elif now.treatment.dose_tsp == then.treatment.dose_tsp and _feed(now) == _feed(then):
        yield gettext("The default stays as it was.")
    else:
        new, old = (spoons(one.treatment.dose_tsp or 0.0) for one in (now, then))
        new = ngettext("{amount} teaspoon", "{amount} teaspoons", 2, amount=new)
        yield gettext(
            "The default stays as it was. {new} of {new_feed} bring the nitrogen that {old} of {old_feed} did.",
            new=_amount(now, measures, new),
            new_feed=_feed(now),
            old=_amount(then, measures, old),
            old_feed=_feed(then),
        )
    if document.current.treatment != then.treatment and change.withdrawn:
        practice = treatment_words(document.current.treatment, _system(document.current, measures))
        yield gettext(
            "What rested on withdrawn evidence no longer counts. The default is now compared with {treatment}.",
            treatment=practice,
        )


def _feed(practice: Practice) -> str:
    """Name all that goes in; the amount told is that of the first."""
    if not practice.parts:
        return str(practice.product)
    between = gettext("and")
    parts = f" {between} ".join(part.product for part in practice.parts)
    return gettext("{product} with {parts}", product=practice.product, parts=parts)


def _amount(practice: Practice, measures: Measures, kitchen: str) -> str:
    dose_tsp, g_per_tsp = practice.treatment.dose_tsp or 0.0, practice.nutrient_g_per_tsp
    return kitchen if g_per_tsp is None else in_measures(measures, kitchen, grams_words(dose_tsp * g_per_tsp))


def _system(practice: Practice, measures: Measures) -> MeasureSystem:
    return MeasureSystem(measures, practice.nutrient_g_per_tsp)


def _news(change: Change) -> Iterator[str]:
    for one in change.added:
        yield gettext("New evidence: {trial}, {season}.", trial=one.trial, season=_season(one))
    for one in change.withdrawn:
        yield gettext("Withdrawn: {trial}, {season}.", trial=one.trial, season=_season(one))
    if not change.added and not change.withdrawn:
        yield gettext("The evidence is the same, and was analysed anew.")


def _season(one: TrialName) -> str:
    return season_words(one.season) if one.season else gettext("season not stated")


def next_trial(document: Recommended, measures: Measures = "both") -> str:
    """Which trial to run next."""
    proposed = document.next_trial
    if proposed is None:
        return gettext("No two treatments of these trials fit the limits of the newest protocol.")
    if not proposed.worth_it and document.decision.verdict.is_settled:
        return gettext("No further trial of these treatments is worth its buckets. Try something new.")
    if not proposed.worth_it:
        return gettext(
            "What is still open is small: no further trial of these treatments alone is worth its buckets. Test them "
            "again beside something new."
        )
    first = gettext("This is the next trial worth most.")
    return f"{first} {proposed_words(proposed, _system(document.recommended, measures))}"


def proposed_words(proposed: ProposedTrial, system: MeasureSystem = BOTH) -> str:
    """Every level that a proposal tries, and in how many buckets."""
    sizes = {
        "treatments": count(proposed.treatments, "treatment", "treatments"),
        "buckets": count(proposed.buckets, "bucket", "buckets"),
        "gardens": count(len(proposed.sites), "garden", "gardens"),
    }
    if proposed.block_size is None:
        whole = gettext(
            "In all: {treatments} in {buckets} at {gardens}, {blocks} in each.",
            blocks=count(proposed.blocks, "block", "blocks"),
            **sizes,
        )
    else:
        whole = gettext(
            "In all: {treatments} in {buckets} at {gardens}, {number} with each volunteer.",
            number=proposed.block_size,
            **sizes,
        )
    gone = listed(proposed.left_out) if proposed.left_out else ""
    left_out = [gettext("Gardens that gave up are left out: {gardens}.", gardens=gone)] if gone else []
    return " ".join((*_compared(proposed, system), whole, *left_out))


def _compared(proposed: ProposedTrial, system: MeasureSystem) -> Iterator[str]:
    """Every level, factor by factor; one that is the same throughout is named alone."""
    cultivars, doses, acids = proposed.cultivars, proposed.doses_tsp, proposed.acidifiers
    if cultivars:
        yield ngettext("Cultivar: {levels}.", "Cultivars: {levels}.", len(cultivars), levels=listed(cultivars))
    if doses:
        yield ngettext(
            "Dose: {levels} of nutrient a bucket.",
            "Doses: {levels} of nutrient a bucket.",
            len(doses),
            levels=several_doses(doses, "and", system),
        )
    if acids:
        levels = listed([acid_words(one) for one in acids])
        yield ngettext("Acid: {levels}.", "Acids: {levels}.", len(acids), levels=levels)


def next_question(proposed: ProposedTrial) -> str:
    """Ask what a proposed trial is to answer: which level of what it varies."""
    asked = [listed(names, "or") for names in (proposed.cultivars,) if len(names) > 1]
    if len(proposed.doses_tsp) > 1:
        asked.append(f"{several_doses(proposed.doses_tsp, 'or')} of nutrient a bucket")
    asked += [listed([acid_words(one) for one in some], "or") for some in (proposed.acidifiers,) if len(some) > 1]
    return f"Which should our next handout recommend: {'; '.join(asked)}?"


def why_next(document: Recommended, measures: Measures = "both") -> str:
    """What that trial is expected to bring, and where it would tell most."""
    proposed = document.next_trial
    if proposed is None:
        return gettext("Raise what [limits] of the newest trial.toml allows, or try something new.")
    value = least_weight(float(f"{max(proposed.value_g, LEAST_WORTH_G):.2g}"), MeasureSystem(measures))
    if proposed.value_g < LEAST_WORTH_G:
        value = gettext("less than {weight}", weight=value)
    if not proposed.worth_it:
        return gettext(
            "Even by the best of them, the next handout should gain only {weight} per transplanted head.", weight=value
        )
    why = gettext(
        "By it, the next handout should gain {weight} per transplanted head. The chance that it changes what is "
        "recommended is {chance}.",
        weight=value,
        chance=chance(proposed.change),
    )
    new = [garden_name(one) for one in document.by_garden if not one.tried and one.of != "garden"]
    if not new:
        return why
    where = gettext("It would tell most in {gardens}, where this treatment was not yet tried.", gardens=listed(new))
    return f"{why} {where}"


def recorded_gain(one: EvidenceTrial) -> str:
    """Say why a trial shows no gain of its own."""
    return "means alone" if one.kind == "means" else "never both in one garden"


def trial_name(trial: str, season: str) -> str:
    """Name a trial with its season, where that is stated."""
    return f"{trial}, {season}" if season else trial
