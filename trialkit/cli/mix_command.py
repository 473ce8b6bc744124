"""``trialkit mix``."""

from __future__ import annotations

from pathlib import Path

import click

from trialkit.cli.conversation import Command
from trialkit.cli.failures import speaks_plainly
from trialkit.cli.number_range import NumberRange
from trialkit.cli.speaking import answer
from trialkit.domain.ph_window import WINDOW_PH
from trialkit.steps.mix_steps import Asked, mix_answer, table_answer


@click.command("mix", cls=Command)
@click.option("--volume", help='Water in the bucket, such as "4.2 gal". If not given, as in the trial, or 16 L.')
@click.option("--alkalinity", type=NumberRange(0, 500), help="Alkalinity of the water, mg/L as calcium carbonate.")
@click.option(
    "--hardness",
    type=NumberRange(0, 2000),
    help="Hardness of the water, mg/L as calcium carbonate. It serves to guess alkalinity, calcium and magnesium.",
)
@click.option("--calcium", type=NumberRange(0, 500), help="Calcium of the water, mg/L.")
@click.option("--magnesium", type=NumberRange(0, 300), help="Magnesium of the water, mg/L.")
@click.option(
    "--drops", type=click.IntRange(1, 100), help="Drops that a test of alkalinity took. Give --mg-per-drop, too."
)
@click.option(
    "--mg-per-drop",
    type=NumberRange(1, 100),
    help="What a drop stands for, mg/L, as the leaflet says; 17.8 for one dKH.",
)
@click.option(
    "--blend",
    type=NumberRange(0, 0.95),
    default=Asked.blend,
    show_default=True,
    help="Share of reverse-osmosis, distilled or rain water in the bucket, such as 0.5.",
)
@click.option("--ph", type=NumberRange(4, 10), default=Asked.ph, show_default=True, help="pH of the water.")
@click.option(
    "--temperature",
    type=NumberRange(1, 40),
    default=Asked.temperature,
    show_default=True,
    help="Temperature of the water, degrees Celsius.",
)
@click.option(
    "--trial",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Folder of a trial, whose bucket and products.csv count.",
)
@click.option("--nutrient", help="Label of the nutrient, such as 9-12-30 (N-P2O5-K2O), or its name in products.csv.")
@click.option(
    "--with",
    "parts",
    multiple=True,
    metavar="PRODUCT=TEASPOONS",
    help="What goes in after the nutrient, by its label or its name in products.csv. Give its teaspoons for each "
    "teaspoon of nutrient, such as 15.5-0-0+19Ca=0.5 for calcium nitrate. May be repeated.",
)
@click.option(
    "--grams-per-tsp",
    type=NumberRange(0.1, 20),
    help="Weight of a level teaspoon of nutrient, g. Weigh ten and divide by ten.",
)
@click.option("--teaspoons", type=NumberRange(0, 50), help="Level teaspoons of nutrient.")
@click.option("--nitrogen", type=NumberRange(0, 1000), help="Nitrogen that the nutrient shall give, mg/L.")
@click.option(
    "--ec",
    type=NumberRange(0, 10),
    help="Strength (EC) that the nutrient shall give, mS/cm. If no amount is given, 1.2.",
)
@click.option("--acid", help="Acid: vinegar, citric, or a name in products.csv.")
@click.option(
    "--acid-strength",
    type=NumberRange(),
    default=Asked.acid_strength,
    show_default=True,
    help="Strength of the vinegar, 4 to 10 g in 100 mL.",
)
@click.option(
    "--acid-grams-per-tsp",
    type=NumberRange(0.1, 20),
    default=Asked.acid_grams_per_tsp,
    show_default=True,
    help="Weight of a level teaspoon of a powdered acid, g.",
)
@click.option(
    "--target-ph", type=NumberRange(*WINDOW_PH), default=Asked.target_ph, show_default=True, help="pH to reach."
)
@click.option(
    "--acid-teaspoons",
    type=NumberRange(0, 50),
    help="Teaspoons of acid, in place of a pH to reach: it tells what they do.",
)
@click.option("--table", "as_table", is_flag=True, help="Tell the acid for each class of alkalinity.")
@speaks_plainly
def command(as_table: bool, **asked: object) -> None:
    """Work out the spoons of nutrient and acid for a bucket of your water.

    It also tells the pH and the strength that they give. Spoons are level US teaspoons, rounded to quarters; pH and
    strength are what the rounded spoons give. The water supplier's yearly report tells the alkalinity, or a test kit
    does (--drops). If you have neither, give --hardness: the alkalinity is then guessed, and its range told. With
    --trial, the nutrient is that of the trial, with all its parts, unless --nutrient or --with says otherwise.

    Example: trialkit mix --volume "4.2 gal" --alkalinity 120 --nutrient 9-12-30 --grams-per-tsp 5 --acid vinegar
    """
    from trialkit.words.mix_words import mix_lines, table_lines

    question = Asked(**asked)  # type: ignore[arg-type]
    if as_table:
        table = table_answer(question)
        answer(table, *table_lines(table))
    else:
        mix = mix_answer(question)
        answer(mix, *mix_lines(mix))
