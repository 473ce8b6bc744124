"""A small good trial folder, and how to damage it."""

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import settings

from trialkit._resources import resource_folder
from trialkit.protocol.randomise import randomise
from trialkit.protocol.trial_protocol import parse_protocol
from trialkit.tables.atomic import csv_text, write_text

# A busy machine is no fault of the code.
settings.register_profile("patient", deadline=None)
settings.load_profile("patient")

GOOD_PROTOCOL = """\
[trial]
id = "autumn-dose"
title = "Autumn dose trial"
question = "Which dose grows the heaviest heads?"
season = "autumn 2026"
started_on = 2026-08-20

[bucket]
volume_l = 20
heads = 2
[factors.cultivar]
levels = ["Larkmoor Butter", "NA"]

[factors.dose]
levels = [2, 4]
product = "Blend L 9-12-30"

[factors.acidifier]
levels = ["white vinegar 5 %"]

[layout]
kind = "randomised complete blocks"
blocks = 2
seed = 20260820

[schedule]
harvest_after_days = [28, 56]

[decision]
current_practice = { cultivar = "Larkmoor Butter", dose = 4 }
"""
GOOD_SITES = """\
site,name,kind,water_source,alkalinity_mg_l_caco3,water_ph,sun_hours,note
fernsedge,Fernsedge School,school,mains,35,7.1,6,
old-mill,Old Mill Library,library,mains,180,7.8,7.5,"shade, after four"
"""
GOOD_PRODUCTS = """\
product,kind,n_pct,p2o5_pct,k2o_pct,grams_per_tsp,acid,acid_pct_w_v,ca_pct
Blend L 9-12-30,nutrient,9,12,30,5.2,,,8
white vinegar 5 %,acid,,,,,acetic,5,
"""
GOOD_VISITS = (
    "site,visited_on,observer_role,note\nfernsedge,2026-08-25,volunteer,all well\nold-mill,2026-08-26,adviser,\n"
)


def good_files() -> dict[str, str]:
    """Return the text of every file of a trial without problems."""
    protocol = parse_protocol(GOOD_PROTOCOL)
    layout = randomise(protocol, pd.DataFrame({"site": ["old-mill", "fernsedge"]}))
    planted = date(2026, 8, 24)
    heads = [
        (
            f"{bucket},{head},{planted},harvested,{planted + timedelta(days=30 + place % 5 + head)},"
            f"{planted + timedelta(days=28)},{140 + 3 * place + 5 * head}.5,yes,"
        )
        for place, bucket in enumerate(layout["bucket"])
        for head in (1, 2)
    ]
    solution = [
        f"{bucket},2026-08-23,20,{dose:g},3,7.4,6.1,1.2"
        for bucket, dose in zip(layout["bucket"], layout["dose_tsp"], strict=True)
    ]
    return {
        "trial.toml": GOOD_PROTOCOL,
        "sites.csv": GOOD_SITES,
        "products.csv": GOOD_PRODUCTS,
        "layout.csv": csv_text(layout),
        "solution.csv": "bucket,measured_on,volume_l,nutrient_tsp,acid_tsp,ph_before,ph_after,ec_ms_cm\n"
        + "\n".join(solution)
        + "\n",
        "visits.csv": GOOD_VISITS,
        "heads.csv": "bucket,head,transplanted_on,outcome,harvested_on,last_not_ready_on,weight_g,marketable,note\n"
        + "\n".join(heads)
        + "\n",
    }


@pytest.fixture
def good_folder(tmp_path: Path) -> Path:
    """Write a trial folder without problems."""
    folder = tmp_path / "trial"
    folder.mkdir()
    for name, text in good_files().items():
        write_text(folder / name, text)
    return folder


@pytest.fixture
def good_protocol() -> str:
    """Return the text of a protocol without problems."""
    return GOOD_PROTOCOL


@pytest.fixture(scope="session")
def good_protocol_text() -> str:
    """Return the same text, for tests that are run many times."""
    return GOOD_PROTOCOL


@pytest.fixture
def schema_text() -> Callable[[str], str]:
    """Read a published schema."""
    return lambda name: (resource_folder("schemas") / name).read_text("utf-8")
