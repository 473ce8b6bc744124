"""The phone form as a file: fields from the schemas, nothing that is not its own, the same bytes."""

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

from laid_out_trial import laid_out
from trialkit.domain.heads import CUT, NOT_CUT, SAYS_NOTHING
from trialkit.domain.table_names import RECORD_TABLES
from trialkit.forms.phone import phone_form
from trialkit.rules.form_marks import form_marks
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.tables.table_schema import load_schema


def data_of(page: str) -> dict[str, Any]:
    """Return what the page hands to its script."""
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.DOTALL)
    assert found
    return dict(json.loads(found[1]))


def test_every_field_with_its_limits(trial: CheckedTrial) -> None:
    """Names, kinds, ranges, words and lengths are those of the schemas."""
    data = data_of(phone_form(trial, "FERN"))
    for name in RECORD_TABLES:
        told = {field["name"]: field for field in data["tables"][name]}
        for field in load_schema(name).on_forms:
            one = told[field.name]
            assert one["type"] == field.type
            assert one["title"] == field.title
            assert (one.get("minimum"), one.get("maximum")) == (field.minimum, field.maximum)
            assert one.get("enum") == (list(field.enum) if field.enum else None)
            assert one.get("maxLength") == field.max_length
            assert bool(one.get("required")) == (field.required or field.wanted)


def test_marks_and_buckets(trial: CheckedTrial) -> None:
    """Marks of trial, layout and form, and the garden's own buckets in their order."""
    data, marks = data_of(phone_form(trial, "MILL")), form_marks(trial, "MILL")
    assert (data["trial"], data["layout"], data["form"], data["site"]) == (
        marks.trial,
        marks.layout,
        marks.form,
        "MILL",
    )
    own = trial.layout[trial.layout["site"] == "MILL"].sort_values(["block", "position"])
    assert [bucket["id"] for bucket in data["buckets"]] == list(own["bucket"])


def test_a_blind_form_names_no_treatment(tmp_path: Path) -> None:
    """Neither on the page nor in its data; a form that is not blind does."""
    assert "white vinegar 5 %" in phone_form(laid_out(tmp_path / "open"), "FERN")
    blind = phone_form(laid_out(tmp_path / "blind", blind=True), "FERN")
    assert "vinegar 5" not in blind
    assert " tsp" not in blind
    assert all(set(bucket) == {"id", "place"} for bucket in data_of(blind)["buckets"])


def test_the_same_trial_gives_the_same_form(trial: CheckedTrial) -> None:
    """No clock and no chance in it; nothing from elsewhere."""
    page = phone_form(trial, "FERN")
    assert page == phone_form(trial, "FERN")
    assert "http" not in page.replace("http-equiv", "")
    assert not re.search(r"\son\w+=", page)


def test_text_cannot_end_the_data(tmp_path: Path) -> None:
    """A title that would close the script block stays data."""
    page = phone_form(laid_out(tmp_path / "hostile", title="</script><script>alert(1)</script>"), "FERN")
    assert data_of(page)["title"] == "</script><script>alert(1)</script>"
    assert "<script>alert" not in page


def test_outcomes_are_those_of_the_rules(trial: CheckedTrial) -> None:
    """Which outcomes are a harvest, leave no weight or say nothing is told to the script, not known by it."""
    data = data_of(phone_form(trial, "FERN"))
    assert (tuple(data["cut"]), tuple(data["notCut"])) == (CUT, NOT_CUT)
    assert {*data["saysNothing"], ""} == set(SAYS_NOTHING)


def test_usual_values_lie_within_what_is_accepted(trial: CheckedTrial) -> None:
    """What the form asks to look at again comes from the schemas, within their limits."""
    data = data_of(phone_form(trial, "FERN"))
    usual = {
        field["name"]: field for name in RECORD_TABLES for field in data["tables"][name] if "usualMinimum" in field
    }
    assert set(usual) == {"weight_g", "ph_before", "ph_after", "ec_ms_cm"}
    for name, field in usual.items():
        assert field["minimum"] <= field["usualMinimum"] < field["usualMaximum"] <= field["maximum"], name


def test_cards_are_the_layouts(trial: CheckedTrial) -> None:
    """What one tap writes down is the layout's dose in the protocol's volume, and no acid only where there is none."""
    given = {bucket["id"]: bucket for bucket in data_of(phone_form(trial, "FERN"))["buckets"]}
    for row in trial.layout[trial.layout["site"] == "FERN"].to_dict("records"):
        bucket, has_acid = given[row["bucket"]], row["acidifier"] != "none"
        volume = f"{trial.protocol.bucket.volume_l:g}"
        wanted = {"volume_l": volume, "nutrient_tsp": f"{row['dose_tsp']:g}"} | ({} if has_acid else {"acid_tsp": "0"})
        assert bucket["card"] == wanted
        assert bucket.get("acid") == (row["acidifier"] if has_acid else None)


def test_the_scale_at_first(trial: CheckedTrial) -> None:
    """Ounces where the kitchen's measures alone are asked for, else grams; the form has a switch."""
    about = trial.protocol.trial.model_copy(update={"measures": "kitchen"})
    kitchen = replace(trial, protocol=trial.protocol.model_copy(update={"trial": about}))
    assert [data_of(phone_form(one, "FERN"))["unit"] for one in (trial, kitchen)] == ["g", "oz"]
