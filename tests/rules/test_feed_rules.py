"""Parts of a feed in trial.toml and products.csv, and calcium."""

from pathlib import Path

import pytest

from trialkit.rules.trial_folder import check_trial
from trialkit.words.problem_words import problem_sentence

BASE = 'product = "Blend L 9-12-30"\n'
PARTS = BASE + '\n[factors.dose.parts]\n"calcium nitrate 15.5-0-0" = 0.5\n'
CALCIUM = "calcium nitrate 15.5-0-0,nutrient,15.5,0,0,5,,,19\n"


def change(folder: Path, file: str, old: str, new: str) -> None:
    """Change one place of a file."""
    text = (folder / file).read_text("utf-8")
    assert old in text
    (folder / file).write_text(text.replace(old, new, 1), "utf-8")


def told(folder: Path) -> list[str]:
    """What a check of the plan says."""
    return [problem_sentence(one) for one in check_trial(folder, stage="plan").problems]


def with_parts(folder: Path, part: str = CALCIUM, protocol: str = PARTS) -> list[str]:
    """What is said of the good trial once its feed has a part."""
    change(folder, "trial.toml", BASE, protocol)
    change(folder, "products.csv", "white vinegar", f"{part}white vinegar")
    return told(folder)


def test_a_feed_of_parts_is_in_order(good_folder: Path) -> None:
    """Nothing is said of a base with calcium nitrate, both with label and spoon."""
    assert with_parts(good_folder) == []


@pytest.mark.parametrize(
    ("part", "protocol", "said"),
    [
        (
            "",
            PARTS,
            'row 19, factors.dose.parts.calcium nitrate 15.5-0-0: found "calcium nitrate 15.5-0-0". Expected a product',
        ),
        (
            CALCIUM.replace(",5,", ",,"),
            PARTS,
            'row 19, factors.dose.parts.calcium nitrate 15.5-0-0: found "calcium nitrate 15.5-0-0" without. '
            "Expected a nutrient with a label and the grams of a level teaspoon in products.csv.",
        ),
        (
            "",
            BASE + 'parts = { "white vinegar 5 %" = 1 }\n',
            'row 17, factors.dose.parts.white vinegar 5 %: found "white',
        ),
        ("", 'parts = { "white vinegar 5 %" = 1 }\n', "Expected factors.dose.product, too, the base whose teaspoons"),
        ("", BASE + 'parts = { "Blend L 9-12-30" = 1 }\n', "Expected other products than the base"),
        ("", BASE + 'parts = { "Blend" = 0 }\n', "Expected more than 0"),
        (
            CALCIUM,
            BASE + '[factors.cultivar.parts]\n"calcium nitrate 15.5-0-0" = 1\n',
            "Expected parts of the feed under [factors.dose.parts]",
        ),
    ],
)
def test_parts_that_cannot_be_counted(good_folder: Path, part: str, protocol: str, said: str) -> None:
    """Each is told at its key, with what is expected there."""
    assert any(said in sentence for sentence in with_parts(good_folder, part, protocol)), told(good_folder)


def test_a_feed_without_calcium_is_warned_of(good_folder: Path) -> None:
    """Four teaspoons of 5.2 g of 9 % N in 20 L are 93.6 mg/L, which asks for half of 90 Ca times 93.6 / 150: 28."""
    change(good_folder, "products.csv", "5.2,,,8", "5.2,,,0")
    (sentence,) = told(good_folder)
    assert sentence == (
        'trial.toml, row 16, factors.dose.product: found 0 mg/L from "Blend L 9-12-30", and not enough known in the '
        "water of 2 gardens. Expected calcium of 28 mg/L or more with 4 teaspoons, half of what goes with that much "
        "nitrogen in a published solution for lettuce. Add calcium nitrate under [factors.dose.parts], or give the "
        "water's calcium (calcium_mg_l in sites.csv). [TK-P13]"
    )
    assert check_trial(good_folder, stage="plan").ok


def test_the_water_brings_calcium_too(good_folder: Path) -> None:
    """Water of 30 mg/L is enough here; a garden with less, or of which it is not known, is counted."""
    change(good_folder, "products.csv", "5.2,,,8", "5.2,,,0")
    change(good_folder, "sites.csv", "sun_hours,note", "sun_hours,note,calcium_mg_l")
    change(good_folder, "sites.csv", "6,\n", "6,,30\n")
    change(good_folder, "sites.csv", 'four"', 'four",27')
    assert "in the water of one garden" in told(good_folder)[0]
    change(good_folder, "sites.csv", 'four",27', 'four",29')
    assert told(good_folder) == []
