"""`trialkit mix` as a user runs it."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import click
import pytest

import commands
from commands import DONE, WRONG_CALL
from trialkit._resources import resource_folder
from trialkit.cli.mix_command import command
from trialkit.domain.ph_window import TARGET_PH
from trialkit.solution.acids import AcidProduct
from trialkit.solution.mixing import Water, mix
from trialkit.words.feed_words import part_words

VINEGAR = AcidProduct("vinegar 5 %", "acetic", pct_w_v=5.0)


TWENTY = ("--volume", "20 L")


def run(*arguments: Any) -> subprocess.CompletedProcess[str]:
    """Run the command in a process of its own."""
    return commands.run("mix", *arguments)


def test_an_answer_in_spoons() -> None:
    """Two meq/L of alkalinity in a gallon to pH 5.8 take 7.7 mL of vinegar (computed apart): a teaspoon and a half."""
    result = run("--volume", "1 gal", "--alkalinity", 100.087, "--ph", 8, "--temperature", 25, "--acid", "vinegar")
    assert result.returncode == DONE, result.stderr
    assert "1½ teaspoons of vinegar 5 % (7 mL" in result.stdout
    assert "Acid: Add acid to water, never water to acid." in result.stdout
    assert "Local rules come first" in result.stdout


def test_json_is_all_there_is_on_standard_output() -> None:
    """Amounts exact and in spoons, what they give, and what is warned of."""
    result = run(*TWENTY, "--alkalinity", 120, "--nutrient", "9-12-30", "--grams-per-tsp", 5, "--ec", 1.2, "--json")
    document = json.loads(result.stdout)["answer"]
    assert document["schema"] == "trialkit-mix-2"
    assert document["acid"] is None
    nutrient = document["nutrient"]
    assert nutrient["tsp"] == pytest.approx(nutrient["exact_tsp"], abs=0.125)
    assert nutrient["grams"] == pytest.approx(5 * nutrient["tsp"])
    assert document["elements_mg_l"]["N"] == pytest.approx(90 * nutrient["grams"] / 20)
    assert document["ec_ms_cm"]["lower"] < 1.2 < document["ec_ms_cm"]["upper"]
    titles = {caution["title"] for caution in document["cautions"]}
    assert {"Local rules come first", "Standing water", "Nutrient", "Used solution"} <= titles
    assert "Acid" not in titles  # none was asked for


def test_products_of_a_trial() -> None:
    """Names are those of products.csv, with its strengths; the base of the trial's feed brings the other parts along.

    Six teaspoons are 18 g of 2 % Mg in 20 L; two and a quarter of calcium nitrate, 11.25 g of 19 % Ca.
    """
    trial = resource_folder("example_trials") / "autumn_dose"
    asked = ("--trial", trial, "--nutrient", "Blend L 9-12-30", "--teaspoons", 6, "--acid", "white vinegar 5 %")
    document = json.loads(run("--alkalinity", 160, *asked, "--json").stdout)["answer"]
    assert document["elements_mg_l"]["Mg"] == pytest.approx(20 * 18 / 20)
    assert document["elements_mg_l"]["Ca"] == pytest.approx(190 * 11.25 / 20)
    assert [(part["name"], part["tsp"]) for part in document["parts"]] == [("calcium nitrate 15.5-0-0", 2.25)]
    assert document["acid"]["name"] == "white vinegar 5 %"
    assert document["ph_strip"] in (5.5, 6.0)
    unnamed = [one for one in asked if one not in ("--nutrient", "Blend L 9-12-30")]
    assert json.loads(run("--alkalinity", 160, *unnamed, "--json").stdout)["answer"] == document


def test_parts_go_in_with_calcium_last() -> None:
    """As asked for by label, in the order that keeps calcium apart, beside the published solution.

    Four teaspoons of 5 g are 20 g of 9-12-30; two of calcium nitrate 10 g of 15.5 % N and 19 % Ca; half of Epsom salt
    2.5 g of 9.8 % Mg; in 20 L.
    """
    asked = (*TWENTY, "--alkalinity", 40, "--nutrient", "9-12-30", "--teaspoons", 4)
    parts = ("--with", "15.5-0-0+19Ca=0.5", "--with", "0-0-0+9.8Mg=0.125")
    document = json.loads(run(*asked, *parts, "--json").stdout)["answer"]
    assert [(part["name"], part["tsp"]) for part in document["parts"]] == [
        ("nutrient 0-0-0+9.8Mg", 0.5),
        ("nutrient 15.5-0-0+19Ca", 2.0),
    ]
    found = document["elements_mg_l"]
    assert (found["N"], found["Ca"], found["Mg"]) == pytest.approx((90 + 77.5, 95.0, 12.25))
    said = run(*asked, *parts).stdout
    assert (
        said.index("9-12-30 (20 g)")
        < said.index("9.8Mg (2.5 g)")
        < said.index("19Ca (10 g)")
        < said.index("in this order")
    )
    assert "Ca 106 %, Mg 51 %" in said
    assert "Note: Calcium" not in said


def test_a_part_that_spoons_cannot_measure_is_weighed_as_on_the_card() -> None:
    """A tenth of a teaspoon of 5 g is 0.5 g of 19 % Ca: 4.75 mg/L in 20 L; of no nutrient there are no parts."""
    asked = (*TWENTY, "--alkalinity", 40, "--nutrient", "9-12-30", "--with", "15.5-0-0+19Ca=0.1", "--teaspoons")
    name = "nutrient 15.5-0-0+19Ca"
    assert part_words(name, 0.1, 5.0) == f"0.5 g of {name}, by a scale"
    assert f"  {part_words(name, 0.1, 5.0)}\n" in run(*asked, 1).stdout
    assert json.loads(run(*asked, 1, "--json").stdout)["answer"]["elements_mg_l"]["Ca"] == pytest.approx(4.75)
    assert f"  ½ level teaspoon of {name} (2.5 g)\n" in run(*asked, 5).stdout
    nothing = run(*asked, 0).stdout
    assert "no nutrient 9-12-30" in nothing
    assert name not in nothing
    assert "In this order" not in nothing
    assert "0.05 teaspoons of nutrient 9-12-30 badly" in run(*asked, 0.05).stdout


def test_a_feed_without_calcium_is_said_so() -> None:
    """None of the published 90 mg/L: tipburn, and what helps. Water of 60 mg/L brings enough (two thirds of it)."""
    asked = ("--alkalinity", 40, "--nutrient", "9-12-30", "--teaspoons", 8)
    said = run(*asked).stdout
    assert "Note: Calcium 0 % of the published target for lettuce: young leaves may turn brown" in said
    assert "Note: Magnesium 0 %" in said
    helped = run(*asked, "--calcium", 60, "--magnesium", 12).stdout
    assert "of these from the water itself: Ca 60 and Mg 12" in helped
    assert "Ca 67 %, Mg 50 %" in helped
    assert "Note: Calcium" not in helped
    assert "guessed from its hardness" in run(*asked, "--hardness", 150).stdout


def test_a_feed_that_takes_soft_water_too_low_is_said_so() -> None:
    """Eight teaspoons of 12 % P2O5 in water without alkalinity: phosphate alone brings it below the window's 5.5."""
    asked = ("--alkalinity", 0, "--nutrient", "9-12-30", "--teaspoons", 8)
    for acid in ((), ("--acid", "vinegar")):
        found = json.loads(run(*asked, *acid, "--json").stdout)["answer"]
        assert found["ph"] < 5.25
        assert "ph too low" in {note["code"] for note in found["notes"]}
        said = run(*asked, *acid).stdout
        assert "is outside the window for lettuce (5.5 to 6): use less acid, or none" in said
        assert "needs none" not in said
        assert "as it comes" not in said
    assert (
        "Without acid it is at pH 5.8, so it needs none"
        in run("--alkalinity", 0, "--ph", 5.8, "--acid", "vinegar").stdout
    )


def test_a_guess_says_that_it_is_one() -> None:
    """Hardness stands in for alkalinity, with its range and what to do about it."""
    result = run("--hardness", 150, "--ph", 7.5, "--acid", "citric")
    assert "mg/L is a guess" in result.stdout
    assert "go by the strip after every small step of acid" in result.stdout


def test_a_step_is_safe_in_the_lowest_water_that_a_guess_allows() -> None:
    """Its step is the one of a water that surely has the lowest alkalinity of the range, not of the likeliest."""
    guessed = json.loads(run("--hardness", 150, "--ph", 6.6, "--acid", "citric", "--json").stdout)["answer"]
    lowest = guessed["water"]["alkalinity_mg_l_caco3"]["lower"]
    known = json.loads(run("--alkalinity", lowest, "--ph", 6.6, "--acid", "citric", "--json").stdout)["answer"]
    assert lowest < guessed["water"]["alkalinity_mg_l_caco3"]["value"]
    assert guessed["acid_step"] == known["acid_step"]


def test_a_table_for_a_handout() -> None:
    """A row for each class of alkalinity, more acid in each."""
    result = run("--table", "--acid", "vinegar", "--json")
    document = json.loads(result.stdout)["answer"]
    teaspoons = [row["acid"]["tsp"] for row in document["rows"]]
    assert teaspoons == sorted(teaspoons)
    assert [row["name"] for row in document["rows"]] == ["low", "low", "medium", "high", "very high"]
    assert [row["step"] is None for row in document["rows"]] == [True, False, False, False, False]
    assert "very high" in run("--table", "--acid", "vinegar").stdout


def test_a_table_tells_the_feed_that_is_in_the_water() -> None:
    """Four teaspoons of 5 g and half of calcium nitrate for each, which take acid off what plain water takes."""
    fed = ("--nutrient", "9-12-30", "--teaspoons", 4, "--with", "15.5-0-0+19Ca=0.5")
    asked = ("--table", "--acid", "vinegar", *TWENTY, *fed)
    said = run(*asked).stdout
    assert said.startswith("vinegar 5 % for 20 L (5.3 US gal), with this in it, to pH 5.8:")
    assert said.index("4 level teaspoons of nutrient 9-12-30 (20 g)") < said.index("2 level teaspoons of nutrient 15.5")
    document, plain = (json.loads(run(*one, "--json").stdout)["answer"] for one in (asked, asked[:5]))
    assert (document["nutrient"]["tsp"], [part["tsp"] for part in document["parts"]]) == (4.0, [2.0])
    assert (plain["nutrient"], plain["parts"]) == (None, [])
    assert document["rows"][-1]["acid"]["tsp"] < plain["rows"][-1]["acid"]["tsp"]


def test_a_trial_tells_the_bucket(tmp_path: Path) -> None:
    """Its volume where none is asked for; and its water is taken as warm as on its cards."""
    trial = tmp_path / "trial"
    shutil.copytree(resource_folder("example_trials") / "autumn_dose", trial)
    protocol = trial / "trial.toml"
    protocol.write_text(protocol.read_text("utf-8").replace("volume_l = 20 ", "volume_l = 18 "), "utf-8")
    asked = ("--alkalinity", 120, "--acid", "vinegar", "--json")
    of_trial, usual, given = (
        json.loads(run(*asked, *more).stdout)["answer"]
        for more in (("--trial", trial), (), ("--trial", trial, "--volume", "4 L"))
    )
    assert [one["volume_l"] for one in (of_trial, usual, given)] == [18.0, 16.0, 4.0]
    assert usual["water"]["temperature_c"] == Water(120.0).temperature_c
    assert usual["acid"]["tsp"] == mix(16.0, Water(120.0), acid=VINEGAR, ph_target=TARGET_PH).acid.tsp


def test_one_ph_is_told_once() -> None:
    """Where an eighth of a teaspoon moves nothing that is told, no range is: never "5.8 to 5.8"."""
    said = run("--alkalinity", 200, "--acid", "citric").stdout
    assert "pH: 5.8; a strip shows 6\n" in said


def test_a_blend_instead_keeps_the_feed() -> None:
    """Spoons of nutrient are those of the bucket told above it, so that the acid for the blend goes with these."""
    asked = ("--alkalinity", 400, "--acid", "vinegar", "--nutrient", "9-12-30", "--ec", 2)
    beyond = json.loads(run(*asked, "--json").stdout)["answer"]
    spoons = beyond["nutrient"]["tsp"]
    thinned = run("--alkalinity", 400 / 3, *asked[2:6], "--teaspoons", spoons, "--json")
    assert beyond["blend"]["acid"] == json.loads(thinned.stdout)["answer"]["acid"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--acid", "vinegar"], "Give --alkalinity"),
        (["--alkalinity", 100], "nothing to mix"),
        (
            ["--alkalinity", 100, "--acid", "vinegar", "--teaspoons", 6],
            "--teaspoons says something of a nutrient: give --nutrient, too",
        ),
        (["--alkalinity", 100, "--ec", 1.5], "--ec says something of a nutrient: give --nutrient, too"),
        (["--alkalinity", 100, "--acid", "bleach"], "is not vinegar or citric"),
        (["--alkalinity", 100, "--acid", "vinegar", "--volume", "a bucket"], "is no volume"),
        (["--alkalinity", 100, "--nutrient", "9-12-30", "--ec", 1, "--nitrogen", 100], "Give only one of"),
        (["--table"], "--table tells amounts of acid"),
        (["--table", "--acid", "vinegar", "--alkalinity", 90, "--blend", 0.5], "Leave out --alkalinity, --blend"),
        (["--table", "--acid", "vinegar", "--acid-teaspoons", 2], "Leave out --acid-teaspoons"),
        (
            ["--alkalinity", 100, "--acid", "vinegar", "--with", "15.5-0-0+19Ca=0.5"],
            "--with says something of a nutrient: give --nutrient, too",
        ),
        (["--alkalinity", 100, "--nutrient", "9-12-30", "--with", "15.5-0-0+19Ca"], "is not PRODUCT=TEASPOONS"),
        (["--alkalinity", 100, "--nutrient", "9-12-30", "--with", "15.5-0-0=inf"], "is not PRODUCT=TEASPOONS"),
        (["--alkalinity", 100, "--nutrient", "9-12-30", "--with", "lime=1"], "give --trial DIR, too"),
        (["--alkalinity", 90, "--acid", "vinegar", "--acid-strength", 30], "burns skin and can blind"),
        (["--alkalinity", 90, "--acid", "vinegar", "--acid-strength", 30], "Use white vinegar of 4 to 10 %"),
        (["--alkalinity", 90, "--acid", "vinegar", "--acid-strength", 3], "too weak for vinegar"),
        (["--alkalinity", 90, "--acid", "pH down"], "go by their label, with gloves and goggles"),
        (["--alkalinity", 90, "--acid", "vinegar", "--target-ph", 4], "--target-ph"),
        (
            ["--alkalinity", 90, "--drops", 4, "--mg-per-drop", 20, "--acid", "vinegar"],
            "Give either --alkalinity or --drops",
        ),
        (["--drops", 4, "--acid", "vinegar"], "Give --drops and --mg-per-drop together"),
        (["--acid", "vinegar"], "A softener leaves the alkalinity in the water"),
        (["--alkalinity", -1, "--acid", "vinegar"], "--alkalinity"),
    ],
)
def test_what_cannot_be_answered(arguments: list[Any], words: str) -> None:
    """One sentence that says how to fix it, exit status 2, no traceback."""
    result = run(*arguments)
    assert result.returncode == WRONG_CALL
    assert words in result.stderr
    assert "Traceback" not in result.stderr


def test_a_name_that_products_do_not_list() -> None:
    """The names that there are are told."""
    trial = resource_folder("example_trials") / "autumn_dose"
    result = run("--alkalinity", 100, "--trial", trial, "--acid", "lemon")
    assert result.returncode == WRONG_CALL
    assert "white vinegar 5 %" in result.stderr


def test_drops_tell_the_alkalinity() -> None:
    """Nine drops of 20 mg/L are 180; the colour turned within the last, so that steps are safe for 160."""
    counted = json.loads(run("--drops", 9, "--mg-per-drop", 20, "--acid", "vinegar", "--json").stdout)["answer"]
    assert counted["water"]["alkalinity_mg_l_caco3"] == {"value": 180.0, "lower": 160.0, "upper": 180.0, "agrees": True}
    known, lower = (
        json.loads(run("--alkalinity", a, "--acid", "vinegar", "--json").stdout)["answer"] for a in (180, 160)
    )
    assert counted["acid"] == known["acid"]
    assert counted["acid_step"] == lower["acid_step"]
    assert "between 160 and 180 mg/L" in " ".join(counted["warnings"])


def test_a_blend_with_rain_water() -> None:
    """Half of it: 200 falls to 100, and takes what water of 100 takes."""
    result = run("--alkalinity", 200, "--blend", 0.5, "--acid", "vinegar")
    assert "half of it is reverse-osmosis, distilled or rain water: alkalinity 200 falls to 100 mg/L" in result.stdout
    blend, known = (
        json.loads(run("--alkalinity", *asked, "--acid", "vinegar", "--json").stdout)["answer"]
        for asked in ((200, "--blend", 0.5), (100,))
    )
    assert blend["acid"] == known["acid"]
    assert (blend["water"]["rain_share"], blend["water"]["tap_alkalinity_mg_l_caco3"]) == (0.5, 200)


def test_water_beyond_acid_is_told_what_to_do() -> None:
    """No acid for 400 mg/L; two thirds of rain water leave 133, and what that takes is told."""
    beyond = json.loads(run("--alkalinity", 400, "--acid", "vinegar", "--json").stdout)["answer"]
    assert (beyond["acid"]["tsp"], beyond["acid_step"]) == (0.0, None)
    assert "use reverse-osmosis or distilled water, or a blend" in " ".join(beyond["warnings"])
    assert beyond["blend"]["alkalinity_mg_l_caco3"] == pytest.approx(400 / 3)
    thinned = json.loads(run("--alkalinity", 400 / 3, "--acid", "vinegar", "--json").stdout)["answer"]
    assert beyond["blend"]["acid"]["tsp"] == thinned["acid"]["tsp"]
    assert beyond["blend"]["acid_step"] == thinned["acid_step"]
    assert "fill two thirds of the bucket with reverse" in run("--alkalinity", 400, "--acid", "vinegar").stdout
    assert "Untreated roof water may carry germs: keep it off the leaves." in " ".join(beyond["warnings"])


def test_ph_over_time_is_told_as_a_range() -> None:
    """From what the air leaves to all of the acid eaten, with when to read again; much vinegar in cups and mL."""
    told = run(*TWENTY, "--alkalinity", 300, "--acid", "vinegar")
    assert "½ cup of vinegar 5 % (121 mL" in told.stdout
    assert "in a day or two, as carbon dioxide leaves. In a week or so microbes eat the acid" in told.stdout
    assert "Read the pH again in two days, and then every week" in told.stdout
    table = run("--table", "--acid", "vinegar").stdout
    assert "pH with all of it" in table
    assert "Above 300 mg/L alkalinity is too much for acid" in table


@pytest.mark.parametrize("text", ["nan", "-NaN", "inf", "1e999"])
def test_what_is_no_finite_number_is_refused_by_every_option(text: str) -> None:
    """No bound stops NaN, which is neither below nor above it: a dose of nothing was worked out from it."""
    ranges = [param for param in command.params if isinstance(param.type, click.FloatRange)]
    assert len(ranges) > 10
    for param in ranges:
        with pytest.raises(click.BadParameter, match=r"not a finite number|not in the range"):
            param.type.convert(text, param, None)
