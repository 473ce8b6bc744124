"""Whatever a person is handed tells acid in steps that no garden's water can be overshot with."""

from dataclasses import replace

import pytest

from small_recommended import small_recommended
from trialkit.documents.recommended import AcidForClass
from trialkit.domain.ph_window import TARGET_PH
from trialkit.domain.units import CUP_ML, TABLESPOON_ML, TEASPOON_ML
from trialkit.forms.card_facts import mixing_cards
from trialkit.report.handout import handout_html
from trialkit.rules.mixings import acid_product
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.solution import acid_for_ph, ph_after
from trialkit.solution.acids import AcidProduct
from trialkit.solution.mixing import MixNote, acid_by_class
from trialkit.words.card_words import card_words
from trialkit.words.handout_words import acid_line, climb
from trialkit.words.mix_words import note_words
from trialkit.words.ph_words import ASK_AGAIN

LOWEST_PH = 5.0
MEASURES_ML = {
    "a quarter of a cup": CUP_ML / 4,
    "a tablespoon": TABLESPOON_ML,
    "a teaspoon": TEASPOON_ML,
    "half a teaspoon": TEASPOON_ML / 2,
    "a quarter of a teaspoon": TEASPOON_ML / 4,
}
SHELVES = {
    **{f"vinegar {pct:g} %": {"acid": "acetic", "acid_pct_w_v": pct} for pct in (4.0, 5.0, 7.0, 10.0)},
    **{f"citric {g:g} g": {"acid": "citric", "acid_pct_w_v": float("nan"), "grams_per_tsp": g} for g in (3.4, 5.8)},
}


def lowest_ph_after(acid: AcidProduct, told: str, litres: float, alkalinity: float) -> float:
    """PH of water at pH 6 after the one measure that a sentence names, of vinegar or of a powder's solution."""
    grams = (acid.pct_w_v or 0) / 100 * MEASURES_ML[told]
    if acid.grams_per_tsp:
        grams = acid.grams_per_tsp / CUP_ML * MEASURES_ML[told]
    moles = grams / {"acetic": 60.052, "citric": 192.124}[acid.acid] / litres
    found = []
    for is_open in (False, True):
        about = {"acid": acid.acid, "alkalinity_mg_l_caco3": alkalinity, "ph_start": 7.5, "open_to_air": is_open}
        before = float(acid_for_ph(ph_target=6.0, **about))
        found.append(float(ph_after(acid_mol_l=before + moles, **about)))
    return min(found)


@pytest.mark.parametrize("shelf", SHELVES)
@pytest.mark.parametrize("litres", [4.0, 20.0, 40.0])
def test_no_step_of_a_card_overshoots(trial: CheckedTrial, shelf: str, litres: float) -> None:
    """Cards of gardens from 0 to 400 mg/L: the step told keeps its water above pH 5, or none goes in."""
    is_acid = trial.products["kind"] == "acid"
    products = trial.products.assign(**{
        column: trial.products[column].where(~is_acid, value) for column, value in SHELVES[shelf].items()
    })  # fmt: skip
    bucket = trial.protocol.bucket.model_copy(update={"volume_l": litres})
    protocol = trial.protocol.model_copy(update={"bucket": bucket})
    acid = acid_product(products, "white vinegar 5 %")
    assert acid is not None
    for alkalinity in (0.0, 3.0, 8.0, 20.0, 45.0, 75.0, 90.0, 140.0, 200.0, 290.0, 310.0, 400.0):
        sites = trial.sites.assign(alkalinity_mg_l_caco3=alkalinity, water_ph=7.5)
        facts = mixing_cards(replace(trial, products=products, protocol=protocol, sites=sites), ["FERN"])
        card = next(card_words(one) for one in facts if one.treatment.acidifier == acid.name)
        steps = [step for step in card.steps if " at a time, no more" in step]
        if not steps:
            assert any("No acid goes into" in step or step.startswith("Add no") for step in card.steps)
            assert all(start.amount.startswith("no acid") for start in card.starts)
        else:
            (step,) = steps
            told = step.removeprefix("Add ").split(" (")[0]
            assert lowest_ph_after(acid, told, litres, alkalinity) > LOWEST_PH
        assert alkalinity <= 300 or not steps


def test_one_rule_once_the_ph_has_climbed(trial: CheckedTrial) -> None:
    """Card, handout and mix alike: ask before more acid goes in; none of them says to go on alone."""
    card = next(one for one in mixing_cards(trial, ["FERN"]) if one.acid.use == "in steps")
    told = {
        "the adviser": [*card_words(card).steps, note_words(MixNote("ph drifts", 7.3, upper=8.2))],
        "us": [str(climb(small_recommended()))],
    }
    for whom, lines in told.items():
        climbing = [line for line in lines if "climb" in line]
        assert climbing
        assert all(line.endswith(ASK_AGAIN.format(whom=whom)) for line in climbing)


@pytest.mark.parametrize("litres", [4.0, 20.0, 40.0])
@pytest.mark.parametrize("ratio", [0.8, 1.0, 1.4])
@pytest.mark.parametrize("shelf", SHELVES)
def test_no_row_of_a_handout_overshoots(shelf: str, litres: float, ratio: float) -> None:
    """Every class, as pooled waters move it: its step keeps its lowest water above pH 5; what all gives is told."""
    about = SHELVES[shelf]
    strength = (
        {"pct_w_v": about["acid_pct_w_v"]} if about["acid"] == "acetic" else {"grams_per_tsp": about["grams_per_tsp"]}
    )
    acid = AcidProduct(shelf, about["acid"], **strength)
    rows = [
        AcidForClass(
            row.name,
            row.lower,
            row.upper,
            row.acid.tsp,
            row.acid.solution_tsp,
            row.step.tsp if row.step else None,
            row.ph_at_lower,
            row.ph_at_upper,
            row.ph_standing,
            row.ph_acid_eaten,
            0,
        )
        for row in acid_by_class(litres, acid, TARGET_PH, ratio=ratio)
    ]
    for row in rows:
        line = acid_line(row, "both")
        if line.step is None:
            assert (line.amount, line.ph) == ("no acid", None)
        else:
            assert lowest_ph_after(acid, line.step, litres, row.lower) > LOWEST_PH
            assert line.ph == f"{row.ph_at_lower:.1f} to {row.ph_at_upper:.1f}"
    page = handout_html(replace(small_recommended(), acid=tuple(rows)))
    assert page.count(" to ".join(f"{ph:.1f}" for ph in (rows[-1].ph_at_lower, rows[-1].ph_at_upper))) >= 1
    assert "half" not in page.lower().replace("half a teaspoon", "").replace("halves", "")
    assert "Test again in two days, then each week." in page
