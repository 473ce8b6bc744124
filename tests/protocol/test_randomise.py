"""Laying out a trial from its protocol."""

from pathlib import Path

import pandas as pd
import pytest

from trialkit.protocol.randomise import randomise, records_exist, why_frozen
from trialkit.protocol.trial_protocol import parse_protocol
from trialkit.tables.atomic import csv_text
from trialkit.tables.bucket_ids import make_bucket_id

SITES = pd.DataFrame({"site": ["old-mill", "fernsedge"]})


def test_the_same_protocol_gives_the_same_layout(good_protocol: str) -> None:
    """The seed alone decides; the order of the sites in their file does not."""
    first = csv_text(randomise(parse_protocol(good_protocol), SITES))
    assert csv_text(randomise(parse_protocol(good_protocol), SITES.iloc[::-1])) == first
    assert csv_text(randomise(parse_protocol(good_protocol.replace("20260820", "1")), SITES)) != first


def test_the_layout_of_a_seed_never_changes(good_protocol: str) -> None:
    """Labels are printed from it: a later version must give the same layout (pinned from version 0.1.0)."""
    lines = csv_text(randomise(parse_protocol(good_protocol), SITES)).splitlines()
    assert lines[:5] == [
        "bucket,site,block,position,cultivar,dose_tsp,acidifier",
        "334X,fernsedge,1,1,Larkmoor Butter,2,white vinegar 5 %",
        "336T,fernsedge,1,2,NA,2,white vinegar 5 %",
        "337P,fernsedge,1,3,NA,4,white vinegar 5 %",
        "339M,fernsedge,1,4,Larkmoor Butter,4,white vinegar 5 %",
    ]


def test_identities_follow_the_bench_not_the_treatment(good_protocol: str) -> None:
    """Identities run along the bench, so that none tells its treatment."""
    layout = randomise(parse_protocol(good_protocol), SITES)
    assert layout["bucket"].tolist() == [make_bucket_id(number) for number in range(1, 17)]
    assert layout["position"].tolist() == [*range(1, 9), *range(1, 9)]


def test_a_split_plot_records_its_whole_plots(good_protocol: str) -> None:
    """A split-plot protocol gives a whole-plot column with one level of its factor in each."""
    text = good_protocol.replace('"randomised complete blocks"', '"split-plot"\nwhole_plot = "cultivar"')
    layout = randomise(parse_protocol(text), SITES)
    assert layout.groupby(["site", "block", "whole_plot"])["cultivar"].nunique().eq(1).all()


def test_more_buckets_than_labels_are_refused(good_protocol: str) -> None:
    """A protocol that asks for thousands of buckets is refused in words."""
    doses = ", ".join(f"{dose / 2:g}" for dose in range(1, 30))
    text = good_protocol.replace("[2, 4]", f"[{doses}]").replace("blocks = 2", "blocks = 50")
    sites = pd.DataFrame({"site": [f"s{i}" for i in range(10)]})
    with pytest.raises(ValueError, match="asks for 29000 buckets"):
        randomise(parse_protocol(text), sites)


def test_records_are_noticed(good_folder: Path, tmp_path: Path) -> None:
    """A row of any record, a returned file, or a record that cannot be read counts; headers alone do not."""
    assert records_exist(good_folder)
    empty = tmp_path / "empty"
    (empty / "returned").mkdir(parents=True)
    (empty / "heads.csv").write_text("bucket,head\n,\n\n", "utf-8")
    assert not records_exist(empty)
    (empty / "solution.csv").mkdir()
    assert records_exist(empty)
    (empty / "solution.csv").rmdir()
    (empty / "returned" / "a.csv").write_text("", "utf-8")
    assert records_exist(empty)


def test_what_freezes_a_layout(good_folder: Path, tmp_path: Path) -> None:
    """Records, a change of the layout, or forms; an empty folder of forms does not."""
    assert why_frozen(good_folder) == "records"
    assert why_frozen(tmp_path) is None
    (tmp_path / "forms").mkdir()
    assert why_frozen(tmp_path) is None
    (tmp_path / "forms" / "adviser.html").write_text("x")
    assert why_frozen(tmp_path) == "forms"
    (tmp_path / "amendments.csv").write_text("layout_version,amended_on\n2,2026-09-01\n")
    assert why_frozen(tmp_path) == "amendments"


UNTOUCHED = (
    "bucket,head,weight_g\r\n",
    "bucket;head;weight_g\n;;\n;;",
    "\ufeffbucket\thead\tweight_g\r",
    '"bucket","head","weight_g"\n"","",""\n\n',
    "",
)
TYPED = (
    "bucket,head,weight_g\r334X,1,142\r",
    "334X,1,142",
    "bucket,head,weight_g,what I saw\n",
    "bucket,head,weight_g\n\n\n,,1",
    "bucket,head,weight_g\n\x00\x00?",
)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "utf-16-le", "cp1252"])
def test_anything_typed_into_a_record_freezes_the_layout(tmp_path: Path, encoding: str) -> None:
    """In any encoding, with any line ends, also where nobody can read it; headings alone do not."""
    for text in UNTOUCHED:
        (tmp_path / "heads.csv").write_bytes(text.encode(encoding, "ignore"))
        assert why_frozen(tmp_path) is None, text
    for text in TYPED:
        (tmp_path / "heads.csv").write_bytes(text.encode(encoding))
        assert why_frozen(tmp_path) == "records", text


def test_what_cannot_be_read_freezes_the_layout(tmp_path: Path) -> None:
    """A folder or a link that leads nowhere in place of a record or of what was returned, or no text at all."""
    for name in ("heads.csv", "visits.csv", "returned"):
        (tmp_path / name).symlink_to(tmp_path / "nowhere")
        assert why_frozen(tmp_path) == "records"
        (tmp_path / name).unlink()
    (tmp_path / "solution.csv").mkdir()
    assert why_frozen(tmp_path) == "records"
    (tmp_path / "solution.csv").rmdir()
    (tmp_path / "solution.csv").write_bytes(b"\xff\xfe\x00\xd8\x00")
    assert why_frozen(tmp_path) == "records"
