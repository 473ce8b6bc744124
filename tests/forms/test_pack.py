"""The printed pack: what each garden gets, what it must not learn, and kitchen measures by hand."""

import io
import re
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from html import escape, unescape
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest

from laid_out_trial import laid_out
from trialkit.domain.errors import WrongCall
from trialkit.forms.bench_map import bench_maps
from trialkit.forms.card_facts import mixing_cards
from trialkit.forms.garden_buckets import same_in_all
from trialkit.forms.pack import adviser_pack, garden_pack
from trialkit.forms.parcel import letter
from trialkit.forms.phone import phone_form
from trialkit.forms.workbook import record_workbook
from trialkit.protocol.sections import FactorLevels
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.tables.bucket_ids import label_code
from trialkit.tables.table_schema import load_schema
from trialkit.words.card_words import CardWords, card_words
from trialkit.words.cautions import cautions_for

READER = shutil.which("zbarimg")


def text_of(page: str) -> str:
    """Return what a page says, blanks of every kind as one."""
    body = re.sub(r"<style>.*?</style>", " ", page, flags=re.DOTALL)
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", body)))


def cards_of(trial: CheckedTrial, sites: list[str]) -> dict[str, CardWords]:
    """Return the cards of gardens as they are printed, by their titles."""
    return {card.title: card for facts in mixing_cards(trial, sites) for card in [card_words(facts)]}


def buckets_of(trial: CheckedTrial, site: str) -> list[str]:
    """Return a garden's buckets."""
    return [str(bucket) for bucket in trial.layout[trial.layout["site"] == site]["bucket"]]


def test_every_bucket_has_a_card_a_place_and_rows(trial: CheckedTrial) -> None:
    """One card with its code, one place on the map, a row for each head; nothing of another garden."""
    page = garden_pack(trial, "FERN")
    for number, bucket in enumerate(buckets_of(trial, "FERN"), 1):
        assert page.count(f'<b class="id">{bucket}</b>') == 1
        assert page.count(f"<li><small>{number}</small><b>{bucket}</b>") == 1
        assert page.count(f'aria-label="QR code of {bucket}"') == 1
        own = re.findall(rf'<tr><th scope="rowgroup" rowspan="4">{bucket}</th>.*?</tbody>', page, re.DOTALL)
        assert [re.findall(r'<th scope="row">(\d)</th>', rows) for rows in own] == [["1", "2", "3", "4"]]
    assert not any(bucket in page for bucket in buckets_of(trial, "MILL"))


def test_a_card_tells_what_goes_into_its_bucket(trial: CheckedTrial) -> None:
    """4 level teaspoons of 5 g; vinegar in steps that the water bears, with where it may end; whose card it is."""
    page = garden_pack(trial, "FERN")
    _, *cards = page.partition("Record sheet")[0].split('<li class="bucket-card">')
    assert len(cards) == len(buckets_of(trial, "FERN"))
    card = text_of(next(one for one in cards if "4 tsp, white vinegar 5 %" in text_of(one)))
    assert "4 level teaspoons of Blend L (20 g)" in card
    assert re.search(r"white vinegar 5 %, a tablespoon \(14.8 mL\) at a time; the strip decides", card)
    assert re.search(r"Expect about \d[¼½¾]? tsp \(\d+ mL\)\.", card)
    assert "Fernsedge School" in card
    assert all(trial.protocol.trial.title in text_of(one) for one in cards)
    assert "no acid" in text_of(next(one for one in cards if "4 tsp, no acid" in text_of(one)))


def test_what_is_alike_for_all_buckets_is_told_once(trial: CheckedTrial) -> None:
    """How to mix: the fill, each acid of the garden with its steps, and when the pH is read again."""
    told = text_of(garden_pack(trial, "FERN")).partition("How to mix")[2].partition("Bucket cards")[0]
    assert told.count("Fill the bucket to the line, with 20 L (5.3 US gal)") == 1
    assert told.count("Add a tablespoon (14.8 mL) of white vinegar 5 % at a time, no more. Stir, wait a minute") == 1
    assert told.count("No acid goes into this bucket.") == 1
    assert told.count("Read the pH again in two days, and then every week") == 1


def test_columns_are_those_of_the_schemas(trial: CheckedTrial) -> None:
    """What heads, solution and visits are asked for has its title on a sheet, or a line at its top for the day.

    What became of a head is told in words; a weight says that it was harvested.
    """
    page = garden_pack(trial, "FERN")
    elsewhere = {("heads", "transplanted_on"): "All planted on:", ("solution", "measured_on"): "All mixed on:",
                 ("heads", "note"): "Anything else: on the back", ("visits", "site"): "Fernsedge School"}  # fmt: skip
    for name in ("heads", "solution", "visits"):
        for field in load_schema(name).on_forms:
            title = f'<th scope="col">{escape(field.title, quote=True).replace("&#x27;", "&#39;")}'
            assert elsewhere.get((name, field.name), title) in page
    for outcome in set(load_schema("heads").field("outcome").enum or ()) - {"harvested"}:
        assert outcome.replace("_", " ") in text_of(page)


def test_a_box_stands_only_where_something_is_to_be_ticked(trial: CheckedTrial, tmp_path: Path) -> None:
    """One for each bucket that was mixed as its card says; none in a blind trial, which has no such cards."""
    page = garden_pack(trial, "FERN")
    assert page.count('class="tick"') == len(buckets_of(trial, "FERN"))
    assert 'class="tick"' not in garden_pack(laid_out(tmp_path / "blind", blind=True), "FERN")
    assert "tick one" not in text_of(page).lower()


def test_a_garden_knows_its_days_and_whom_to_send_to(trial: CheckedTrial) -> None:
    """Sowing, planting, lids, visits; days after sowing where nobody said when that is."""
    schedule = trial.protocol.schedule.model_copy(update={"sow_on": date(2026, 8, 6)})
    dated = replace(trial, protocol=trial.protocol.model_copy(update={"schedule": schedule}))
    page = text_of(garden_pack(dated, "FERN"))
    assert "Mix and transplant 20 August 2026" in page
    assert "Visits 1 to 9 of 10 17, 20, 23, 26 and 29 September, 2, 5, 8 and 11 October 2026" in page
    assert "A head is ready when it is full and firm" in page
    assert "Questions and filled-in record sheets go to whoever gave you this pack." in page
    county = garden_pack(replace(dated, contact="Horticulture desk, tel. 555 0100 <b>"), "FERN")
    assert "filled-in record sheets go to: Horticulture desk, tel. 555 0100 <b>" in text_of(county)
    assert "whoever gave you" not in text_of(county)
    assert "0100 <b>" not in county
    assert "Mix and transplant 14 days after sowing" in text_of(garden_pack(trial, "FERN"))
    joined = pd.DataFrame(
        {"layout_version": [2], "amended_on": [pd.Timestamp("2026-09-01")], "site": ["MILL"], "change": ["joined"],
         "blocks": [2], "why": ["late"]}
    )  # fmt: skip
    late = text_of(garden_pack(replace(dated, amendments=joined), "MILL"))
    assert "Mix and transplant 14 days after sowing" in late
    assert "2026" not in late


def test_a_letter_asks_for_the_records(trial: CheckedTrial) -> None:
    """The usual role tells no way there: then they go back to who sent the letter, else to the county's address."""
    usual = letter(trial, "FERN")
    assert "Send it to whoever sent you this letter." in usual
    assert "county horticulture adviser" not in usual
    assert "Send it to: the desk, Mill Street 5\n" in letter(replace(trial, contact="the desk, Mill Street 5"), "FERN")


SOW = {
    "en": "Sow this cultivar and no other: <Larkmoor Butter>.",
    "es": "Siembre esta variedad y ninguna otra: <Larkmoor Butter>.",
}
FEED = {
    "en": "Use this nutrient and no other: Blend L.",
    "es": "Use este nutriente y ningún otro: Blend L.",
}


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("blind", [False, True])
def test_every_paper_says_what_is_sown_and_fed(tmp_path: Path, language: str, blind: bool) -> None:
    """A cultivar that all buckets have stands on every card; the product where no amount names it, so in a blind trial.

    Both stand on every other paper, once.
    """
    trial = laid_out(tmp_path / "trial", blind=blind, language=language)
    factors = {**trial.protocol.factors, "cultivar": FactorLevels(levels=("<Larkmoor Butter>",))}
    trial = replace(trial, protocol=trial.protocol.model_copy(update={"factors": factors}))
    sow, feed, buckets = SOW[language], FEED[language], len(buckets_of(trial, "FERN"))
    pack = text_of(garden_pack(trial, "FERN"))
    assert pack.count(sow) == 1 + buckets
    assert pack.count(feed) == 1 + blind * buckets
    (book,) = openpyxl.load_workbook(io.BytesIO(record_workbook(trial, "FERN"))).worksheets[:1]
    read_me = "\n".join(str(cell.value) for (cell,) in book.iter_rows(max_col=1))
    for paper in (letter(trial, "FERN"), text_of(phone_form(trial, "FERN")), read_me):
        assert (paper.count(sow), paper.count(feed)) == (1, 1)
    adviser = text_of(adviser_pack(trial))
    assert (adviser.count(SOW["en"]), adviser.count(FEED["en"])) == (1, 1)


def test_of_several_cultivars_each_bucket_has_its_own(tmp_path: Path) -> None:
    """None is named for all of them; nor is a product where the only dose is none."""
    trial = laid_out(tmp_path / "trial")
    factors = {
        "cultivar": FactorLevels(levels=("Fenleaf", "Paleheart")),
        "dose": FactorLevels(levels=(0.0,), product="Blend L 9-12-30"),
    }
    several = replace(trial, protocol=trial.protocol.model_copy(update={"factors": factors}))
    assert same_in_all(several).sentences == ()


def test_titles_do_not_repeat(trial: CheckedTrial) -> None:
    """Every heading and every caption of a page is another; so is the title of every page."""
    pages = [garden_pack(trial, "FERN"), garden_pack(trial, "MILL"), adviser_pack(trial)]
    for page in pages:
        for kind in ("h[1-4]", "caption"):
            titles = [text_of(title) for _, title in re.findall(rf"<({kind})[ >](.*?)</\1>", page, re.DOTALL)]
            assert len(titles) == len(set(titles))
    assert len({re.findall("<title>(.*)</title>", page)[0] for page in pages}) == len(pages)


@pytest.mark.parametrize(
    ("columns", "rows", "goes_on", "told"),
    [
        (None, [("block 1", 8), ("block 2", 8)], [True, False], "stand in one row, from left to right"),
        (5, [("row 1", 5), ("row 2", 5), ("row 3", 5), ("row 4", 1)], [False] * 4, "row 1 at the back"),
        (9, [("row 1, part 1 of 2", 5), ("row 1, part 2 of 2", 4), ("row 2", 7)], [True, False, False], "at the back"),
    ],
)
def test_the_map_is_the_bench(
    trial: CheckedTrial, columns: int | None, rows: list[tuple[str, int]], goes_on: list[bool], told: str
) -> None:
    """Rows as they stand, from where one faces them; a long one in equal lines; places are numbered as on the cards."""
    layout = trial.protocol.layout.model_copy(update={"bench_columns": columns})
    stood = replace(trial, protocol=trial.protocol.model_copy(update={"layout": layout}))
    (bench,) = bench_maps(stood, ["FERN"], named=True)
    assert [(line.label, len(line.places)) for line in bench.lines] == rows
    assert [place.number for line in bench.lines for place in line.places] == list(range(1, 17))
    assert [line.goes_on for line in bench.lines] == goes_on
    page = garden_pack(stood, "FERN")
    assert told in text_of(page)
    assert page.count("↩") == sum(goes_on) + any(goes_on)


def test_a_blind_pack_names_no_treatment(tmp_path: Path) -> None:
    """Labels, map and sheets are silent and there are no cards; only the adviser's pages tell, and say so."""
    blind = laid_out(tmp_path / "blind", blind=True)
    page = text_of(garden_pack(blind, "FERN"))
    assert "white vinegar 5 %" not in page
    assert " tsp" not in page
    assert "How to mix" not in page
    adviser = text_of(adviser_pack(blind))
    assert "For the adviser's eyes only" in adviser
    assert "4 tsp, white vinegar 5 %" in adviser
    assert "eyes only" not in text_of(adviser_pack(laid_out(tmp_path / "open")))


def test_measures_by_hand(trial: CheckedTrial) -> None:
    """20 L is 5.3 US gallons (231 cubic inches), 4 level teaspoons of 5 g are 20 g; the acid's start is an estimate."""
    card = cards_of(trial, ["FERN"])["4 tsp, white vinegar 5 %"]
    assert "20 L (5.3 US gal)" in card.steps[0]
    assert "4 level teaspoons of Blend L (20 g)" in card.steps[1]
    assert "stop between pH 5.5 and 6" in card.steps[2]
    (start,) = card.starts
    assert re.match(
        r"about [\d¼½¾]+ tsp \(\d+ mL\)\. Left alone, its pH climbs towards \d\.\d in a day or two", start.amount
    )
    assert card.steps[-1].startswith("Read the pH again in two days, and then every week")
    assert start.alkalinity == "75 mg/L"
    served = trial.layout[(trial.layout["site"] == "FERN") & (trial.layout["dose_tsp"] == 4)]
    wanted = served[served["acidifier"] == "white vinegar 5 %"]["bucket"]
    assert sorted(card.buckets[0][1].split(", ")) == sorted(wanted)


def test_a_feed_goes_in_by_parts(trial: CheckedTrial) -> None:
    """Base, then Epsom salt, then calcium, whatever the order in trial.toml; what spoons cannot measure is weighed.

    With four teaspoons go half a teaspoon of 5 g, and 0.4 of 5 g, which no spoon of a set comes near.
    """
    rows = [("calcium nitrate", 15.5, 19.0, float("nan")), ("Epsom salt", float("nan"), float("nan"), 9.8)]
    added = pd.DataFrame(rows, columns=["product", "n_pct", "ca_pct", "mg_pct"]).assign(
        kind="nutrient", grams_per_tsp=5.0
    )
    dose = trial.protocol.factors["dose"].model_copy(update={"parts": {"calcium nitrate": 0.125, "Epsom salt": 0.1}})
    protocol = trial.protocol.model_copy(update={"factors": trial.protocol.factors | {"dose": dose}})
    fed = replace(trial, protocol=protocol, products=pd.concat([trial.products, added], ignore_index=True))
    steps = cards_of(fed, ["FERN"])["4 tsp, white vinegar 5 %"].steps
    assert "in this order into the full bucket" in steps[1]
    assert "Never mix two of them dry or in one cup" in steps[1]
    assert "4 level teaspoons of Blend L (20 g)" in steps[2]
    assert steps[3] == "Then stir in 2 g of Epsom salt, by a scale until nothing is left."
    assert steps[4] == "Then stir in ½ level teaspoon of calcium nitrate (2.5 g) until nothing is left."
    assert "white vinegar 5 %" in steps[5]


def test_no_acid_is_made_up(trial: CheckedTrial) -> None:
    """Buckets without acid say so; where the water is not known there is no starting point."""
    without = cards_of(trial, ["FERN"])["4 tsp, no acid"]
    assert "No acid goes into this bucket." in without.steps[-2]
    assert without.starts == ()
    unknown = replace(trial, sites=trial.sites.assign(alkalinity_mg_l_caco3=float("nan")))
    cards = cards_of(unknown, ["FERN", "MILL"])
    assert all(card.starts == () for card in cards.values())
    vinegar = cards["4 tsp, white vinegar 5 %"]
    assert "Add no white vinegar 5 % yet. Nobody has told how much alkalinity this water has" in " ".join(vinegar.steps)
    known = trial.sites["alkalinity_mg_l_caco3"].where(trial.sites["site"] == "FERN", float("nan"))
    half = replace(trial, sites=trial.sites.assign(alkalinity_mg_l_caco3=known))
    mixed = cards_of(half, ["FERN", "MILL"])[vinegar.title]
    assert [start.amount for start in mixed.starts][1] == "no acid until its alkalinity is known"
    shelf = trial.products.assign(acid_pct_w_v=float("nan"))
    unstated = cards_of(replace(trial, products=shelf), ["FERN"])[vinegar.title]
    assert "Add no white vinegar 5 % yet" in unstated.steps[-2]


@pytest.mark.parametrize(("alkalinity", "step"), [(90.0, "a tablespoon"), (15.0, "a teaspoon"), (0.0, None)])
def test_a_powder_is_dissolved_first(trial: CheckedTrial, alkalinity: float, step: str | None) -> None:
    """No card lets citric acid in as powder: a solution, in steps that the garden's water bears, or none at all."""
    citric = trial.products.assign(acid="citric", acid_pct_w_v=float("nan"), grams_per_tsp=4.6)
    shelf = trial.products.where(trial.products["kind"] != "acid", citric)
    sites = trial.sites.assign(alkalinity_mg_l_caco3=alkalinity)
    powdered = replace(trial, products=shelf, sites=sites)
    card = cards_of(powdered, ["FERN"])["4 tsp, white vinegar 5 %"]
    said = " ".join(card.steps)
    if step is None:
        assert "No acid goes into this bucket. Its water has next to no alkalinity" in said
        assert card.starts[0].amount.startswith("no acid")
        return
    assert (
        "Never put white vinegar 5 % into the bucket as powder. Dissolve 1 level teaspoon (4.6 g) in each cup (237 mL)"
        in said
    )
    millilitres = "14.8" if alkalinity == 90 else "4.93"
    assert f"Add {step} ({millilitres} mL) of this solution at a time, no more. Stir" in said
    assert "12 teaspoons of the solution hold ¼ teaspoon of powder" in said
    assert (" tsp of the solution (" if alkalinity == 15 else "½ cup of the solution (") in card.starts[0].amount


def test_cautions_come_first(trial: CheckedTrial) -> None:
    """Acid, drill, lids, clean harvest and local rules stand before anything is mixed, for gardens and adviser."""
    for page, mixing in ((garden_pack(trial, "FERN"), "How to mix"), (adviser_pack(trial), "Mixing cards")):
        text = text_of(page)
        for caution in cautions_for("pack", trial.protocol.bucket.volume_l):
            assert text.index(f"{caution.title}.") < text.index(mixing)
        assert "Pour acid into water, never water into acid" in text


def test_the_same_trial_gives_the_same_pack(trial: CheckedTrial) -> None:
    """No clock, no chance, no script, nothing from elsewhere."""
    page = garden_pack(trial, "FERN")
    assert page == garden_pack(trial, "FERN")
    assert "<script" not in page
    assert "http" not in page.replace("http-equiv", "").replace("http://www.w3.org/2000/svg", "")


@pytest.mark.parametrize("form", [garden_pack, phone_form, record_workbook])
def test_a_garden_without_buckets_is_told(form: Callable[[CheckedTrial, str], object], trial: CheckedTrial) -> None:
    """The gardens that there are are named, whatever form is asked for."""
    with pytest.raises(WrongCall, match="there are FERN, MILL, STAT"):
        form(trial, "POND")


@pytest.mark.skipif(READER is None, reason="zbarimg, an independent reader of QR codes, is not installed")
def test_codes_are_read_by_another_reader(browser: Any, trial: CheckedTrial, tmp_path: Path) -> None:
    """Labels as the browser shows them, light and dark: the reader finds every identity and nothing else."""
    path = tmp_path / "pack.html"
    path.write_text(garden_pack(trial, "FERN"), encoding="utf-8")
    for scheme in ("light", "dark"):
        page = browser.new_context(color_scheme=scheme, viewport={"width": 1100, "height": 900}).new_page()
        page.goto(path.as_uri())
        page.locator("section:has(.bucket-cards)").screenshot(path=str(tmp_path / "labels.png"))
        command = [str(READER), "--quiet", "--raw", "-Sdisable", "-Sqrcode.enable", str(tmp_path / "labels.png")]
        read = subprocess.run(command, capture_output=True, text=True, check=False).stdout.split()
        assert sorted(read) == sorted(
            label_code(trial.protocol.trial.id, "FERN", one) for one in buckets_of(trial, "FERN")
        )
        page.context.close()
