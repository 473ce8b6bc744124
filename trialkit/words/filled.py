"""Results with their sentences beside the facts, for pages that do not make them yet."""

from __future__ import annotations

from dataclasses import replace

from trialkit.documents.findings import ResponseResult
from trialkit.documents.results import Results
from trialkit.words.check_words import check_words
from trialkit.words.dose_words import apart_sentence, dose_sentences, not_fitted_sentence
from trialkit.words.factor_words import FACTOR_LABELS, effect_label
from trialkit.words.garden_words import covariate_label, exploration_sentence, gardens_sentence
from trialkit.words.loss_words import losses_sentence, losses_warning
from trialkit.words.model_words import TOO_SMALL, model_sentences, note_sentence, variance_label
from trialkit.words.response_words import RESPONSE_HEADS, RESPONSE_LABELS, not_analysed_sentence


def filled(results: Results) -> Results:
    """Say everything."""
    models = [one.model for one in results.responses.values() if one.model]
    return replace(
        results,
        design=replace(
            results.design,
            factors=tuple(replace(one, label=FACTOR_LABELS[one.name]) for one in results.design.factors),
            fixed=tuple(replace(one, label=FACTOR_LABELS[one.name]) for one in results.design.fixed),
            notes=tuple(map(note_sentence, models[0].notes)) if models else (),
        ),
        losses=replace(
            results.losses, warning=losses_warning(results.losses), statement=losses_sentence(results.losses)
        ),
        responses={name: _response(one, results.confidence) for name, one in results.responses.items()},
    )


def _response(one: ResponseResult, confidence: float) -> ResponseResult:
    model, gardens, dose = one.model, one.gardens, one.dose
    return replace(
        one,
        label=RESPONSE_LABELS[one.name],
        of=RESPONSE_HEADS[one.name],
        reason=not_analysed_sentence(one.not_analysed) if one.not_analysed else None,
        model=model and replace(model, statements=model_sentences(model)),
        variances=tuple(
            replace(
                row,
                label=variance_label(row.term, model.residual if model else "heads"),
                statement=TOO_SMALL if row.sd is None else None,
            )
            for row in one.variances
        ),
        tests=tuple(replace(row, label=effect_label(row.term)) for row in one.tests),
        checks=tuple(replace(check, **vars(check_words(check, one.unit))) for check in one.checks),
        gardens=gardens
        and replace(
            gardens,
            statement=gardens_sentence(gardens, one.unit),
            explored=tuple(
                replace(line, label=covariate_label(line.covariate), statement=exploration_sentence(line, one.unit))
                for line in gardens.explored
            ),
        ),
        dose=dose
        and replace(
            dose,
            reason=not_fitted_sentence(dose) if dose.not_fitted else None,
            statement=apart_sentence(dose) if dose.status == "fitted" else "",
            tests=tuple(replace(row, label=effect_label(row.term)) for row in dose.tests),
            groups=tuple(
                replace(group, statements=dose_sentences(group, dose, one.unit, confidence)) for group in dose.groups
            ),
        ),
    )
