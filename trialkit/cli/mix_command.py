"""``trialkit mix``."""

from __future__ import annotations

from pathlib import Path

import click

from trialkit.cli.failures import speaks_plainly
from trialkit.cli.mix_steps import Asked, mix_answer, table_answer
from trialkit.cli.number_range import NumberRange
from trialkit.cli.shared_options import as_json
from trialkit.cli.speaking import answer
from trialkit.domain.ph_window import TARGET_PH, WINDOW_PH
from trialkit.domain.usual_water import USUAL_PH, USUAL_TEMPERATURE_C


@click.command("mix")
@click.option("--volume", help='Of water in the bucket, such as "4.2 gal"; else the trial\'s, or 16 L.')
@click.option("--alkalinity", type=NumberRange(0, 500), help="Of the water, mg/L as calcium carbonate.")
@click.option(
    "--hardness",
    type=NumberRange(0, 2000),
    help="mg/L as calcium carbonate; guesses alkalinity, calcium and magnesium where they are not known.",
)
@click.option("--calcium", type=NumberRange(0, 500), help="Of the water, mg/L Ca.")
@click.option("--magnesium", type=NumberRange(0, 300), help="Of the water, mg/L Mg.")
@click.option("--drops", type=click.IntRange(1, 100), help="That a drop test took; with --mg-per-drop.")
@click.option("--mg-per-drop", type=NumberRange(1, 100), help="mg/L a drop, by its leaflet; 17.8 for a dKH.")
@click.option(
    "--blend",
    type=NumberRange(0, 0.95),
    default=0.0,
    show_default=True,
    help="Share of reverse-osmosis, distilled or rain water in the bucket, such as 0.5.",
)
@click.option("--ph", type=NumberRange(4, 10), default=USUAL_PH, show_default=True, help="Of the water.")
@click.option(
    "--temperature",
    type=NumberRange(1, 40),
    default=USUAL_TEMPERATURE_C,
    show_default=True,
    help="Of the water, degrees Celsius.",
)
@click.option(
    "--trial",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Its folder: bucket and products.csv.",
)
@click.option("--nutrient", help="Its label, such as 9-12-30 (N-P2O5-K2O), or its name in products.csv.")
@click.option(
    "--with",
    "parts",
    multiple=True,
    metavar="PRODUCT=TEASPOONS",
    help="What goes in after the nutrient, and how much for each teaspoon of that, such as 15.5-0-0+19Ca=0.5 for "
    "calcium nitrate; a label, or a name in products.csv. May be given again.",
)
@click.option("--grams-per-tsp", type=NumberRange(0.1, 20), help="Of nutrient; weigh ten, divide by ten.")
@click.option("--teaspoons", type=NumberRange(0, 50), help="Of nutrient, level.")
@click.option("--nitrogen", type=NumberRange(0, 1000), help="Target for nutrient, mg/L N.")
@click.option("--ec", type=NumberRange(0, 10), help="Target for nutrient, mS/cm; 1.2 where nothing is asked for.")
@click.option("--acid", help="vinegar, citric, or a name in products.csv.")
@click.option(
    "--acid-strength", type=NumberRange(), default=5.0, show_default=True, help="Of vinegar, 4 to 10 g in 100 mL."
)
@click.option("--acid-grams-per-tsp", type=NumberRange(0.1, 20), default=4.6, show_default=True, help="A powder's.")
@click.option("--target-ph", type=NumberRange(*WINDOW_PH), default=TARGET_PH, show_default=True)
@click.option("--acid-teaspoons", type=NumberRange(0, 50), help="What so much acid does, instead of a target.")
@click.option("--table", "as_table", is_flag=True, help="The acid for each class of alkalinity.")
@as_json
@speaks_plainly
def command(as_json: bool, as_table: bool, **asked: object) -> None:
    """Work out what goes into a bucket of your water: spoons of nutrient and acid, and the pH and strength they give.

    Spoons are level US teaspoons, rounded to quarters; what is told is of the spoons, not of the exact amount. The
    water's alkalinity is in the water supplier's yearly report, or --drops of a test kit tell it; without either it is
    guessed from pH and --hardness, and the range is told. With --trial, the nutrient is the base of its feed where
    --nutrient names no other, and the feed's other parts go in too, unless --with says otherwise.

    Example: trialkit mix --volume "4.2 gal" --alkalinity 120 --nutrient 9-12-30 --grams-per-tsp 5 --acid vinegar
    """
    from trialkit.words.mix_words import mix_lines, table_lines

    question = Asked(**asked)  # type: ignore[arg-type]
    if as_table:
        table = table_answer(question)
        answer(table, "\n".join(table_lines(table)), as_json=as_json)
    else:
        mix = mix_answer(question)
        answer(mix, "\n".join(mix_lines(mix)), as_json=as_json)
