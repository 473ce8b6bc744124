"""The pack of a garden whose language is not English: whole in it, in all measures, whatever its water and acid are."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from dataclasses import replace
from html import unescape
from pathlib import Path

import pandas as pd
import pytest

from english_left import english_left, texts_of
from laid_out_trial import laid_out
from spanish_reading import QUITE_EASY, WORD, perspicuity
from trialkit._resources import resource_folder
from trialkit.domain.units import Measures
from trialkit.forms.pack import adviser_pack, garden_pack
from trialkit.rules.trial_folder import CheckedTrial, read_trial
from trialkit.tables.form_words import values_by_word
from trialkit.tables.table_schema import load_schema

EXAMPLE = "volunteer_cultivars"


def names_of(trial: CheckedTrial) -> list[str]:
    """What the trial itself calls things, which no language changes."""
    about, factors = trial.protocol.trial, trial.protocol.factors
    levels = [str(level) for factor in factors.values() for level in factor.levels if isinstance(level, str)]
    names = [about.id, about.title, trial.contact, *trial.sites["name"], *trial.products["product"], *levels]
    return [str(name) for name in names if name not in ("none", "county horticulture adviser")]


def in_spanish(trial: CheckedTrial, measures: Measures = "both", **sites: object) -> CheckedTrial:
    """Return a trial whose gardens all speak Spanish, with other columns of sites.csv."""
    about = trial.protocol.trial.model_copy(update={"language": "es", "measures": measures})
    protocol = trial.protocol.model_copy(update={"trial": about})
    return replace(trial, protocol=protocol, sites=trial.sites.assign(**sites))


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> CheckedTrial:
    """The example of 24 volunteers, its trial.toml in Spanish."""
    folder = Path(shutil.copytree(resource_folder("example_trials") / EXAMPLE, tmp_path_factory.mktemp("es") / "trial"))
    protocol = (folder / "trial.toml").read_text("utf-8")
    (folder / "trial.toml").write_text(protocol.replace("[trial]\n", '[trial]\nlanguage = "es"\n'), "utf-8")
    return read_trial(folder, stage="layout")


@pytest.mark.parametrize("measures", ["both", "kitchen", "metric"])
def test_no_english_is_left_on_a_spanish_pack(example: CheckedTrial, measures: Measures) -> None:
    """Of a feed in parts, with days of the calendar; titles, what is read aloud, margins, cautions and sources, too."""
    trial = in_spanish(example, measures)
    page = garden_pack(trial, "V01")
    assert '<html lang="es-US">' in page
    assert english_left(page, names_of(trial)) == []
    said = texts_of(page)
    assert "20 de mayo de 2027" in said
    assert "17 sep" in " ".join(said)
    assert "verano de 2027" in said
    margins = re.findall(r'content:"([^"]*)"', page)
    assert [one for one in margins if english_left(one.replace(r"\20 ", " "), names_of(trial))] == []


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> CheckedTrial:
    """A small trial as it stands before its season, without days of the calendar."""
    return laid_out(tmp_path_factory.mktemp("small") / "trial")


def other_trials(small: CheckedTrial) -> Iterator[CheckedTrial]:
    """Trials whose packs say what the example's does not."""
    powder = small.products.assign(acid="citric", acid_pct_w_v=float("nan"), grams_per_tsp=4.6)
    powdered = replace(small, products=small.products.where(small.products["kind"] != "acid", powder))
    for alkalinity in (0.0, 15.0, 90.0, 320.0, float("nan")):
        yield in_spanish(small, alkalinity_mg_l_caco3=alkalinity)
        yield in_spanish(powdered, "metric", alkalinity_mg_l_caco3=alkalinity)
    yield in_spanish(powdered, "kitchen")
    yield in_spanish(replace(small, products=small.products.assign(acid_pct_w_v=float("nan"))))
    yield in_spanish(replace(small, products=pd.DataFrame(columns=small.products.columns)))
    layout = small.protocol.layout
    for columns in (5, 9):
        changed = layout.model_copy(update={"bench_columns": columns})
        yield in_spanish(replace(small, protocol=small.protocol.model_copy(update={"layout": changed})))


def test_no_english_is_left_whatever_water_and_acid_are(small: CheckedTrial) -> None:
    """Acid that none, some or no known water bears, of a liquid and of a powder; products unknown; rows of a bench."""
    for trial in other_trials(small):
        assert english_left(garden_pack(trial, "FERN"), [*names_of(trial), *names_of(small)]) == []


def test_a_blind_pack_is_spanish_too(tmp_path: Path) -> None:
    """It names no treatment and says who sees to the mixing."""
    trial = in_spanish(laid_out(tmp_path / "blind", blind=True))
    page = garden_pack(trial, "FERN")
    assert english_left(page, names_of(trial)) == []
    assert "Su asesor se encarga de la mezcla." in page
    assert "white vinegar" not in page


def test_one_garden_may_speak_another_language(small: CheckedTrial) -> None:
    """As sites.csv says: its pack alone changes; the adviser's pages stay English."""
    sites = small.sites.assign(language=["es" if site == "MILL" else "" for site in small.sites["site"]])
    mixed = replace(small, sites=sites)
    assert garden_pack(mixed, "FERN") == garden_pack(small, "FERN")
    assert adviser_pack(mixed) == adviser_pack(small)
    assert english_left(garden_pack(mixed, "MILL"), names_of(small)) == []
    assert english_left(garden_pack(small, "MILL"), names_of(small)) != []


def test_what_is_ringed_and_written_is_what_is_read_back(small: CheckedTrial) -> None:
    """Headings, yes and no, and what became of a head are in the words by which records in Spanish are known."""
    page = garden_pack(in_spanish(small), "FERN")
    assert '<span class="ring">sí / no</span>' in page
    outcome = load_schema("heads").field("outcome")
    words = {word for word, value in values_by_word(outcome).items() if value != "harvested" and word in page}
    assert {values_by_word(outcome)[word] for word in words} == set(outcome.listed) - {"harvested"}


PIECE = re.compile(r'<(p|li|td|caption)\b(?! class="care-sources")[^>]*>(?!<small>)(.*?)</\1>', re.DOTALL)
END = re.compile(r"(?<=[.?!])\s+(?=[\w¿¡])")
MOST_WORDS = 24


def sentences_of(page: str) -> list[str]:
    """Return what a pack says in sentences: all but sources, map and bucket cards."""
    doing, _, rest = page.partition("<main")[2].partition('aria-labelledby="cards-title"')
    pieces = PIECE.findall(doing + rest[rest.index('class="new-page sheet') :])
    texts = (re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", piece))).strip() for _, piece in pieces)
    said = [one for text in texts for one in END.split(text.replace("EE. UU.", "EEUU"))]
    return list(dict.fromkeys(one for one in said if len(WORD.findall(one)) > 2))


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_pack_is_plain(example: CheckedTrial, small: CheckedTrial, language: str) -> None:
    """No sentence has more than 24 words; Spanish is quite easy by the measure made for it."""
    for trial in (example, *other_trials(small)):
        about = trial.protocol.trial.model_copy(update={"language": language})
        told = replace(trial, protocol=trial.protocol.model_copy(update={"trial": about}))
        said = sentences_of(garden_pack(told, str(trial.sites["site"].iloc[0])))
        assert len(said) > 40
        assert [one for one in said if len(one.split()) > MOST_WORDS] == []
        assert language == "en" or perspicuity(said) > QUITE_EASY
