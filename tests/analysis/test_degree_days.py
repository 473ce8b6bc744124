"""Growing degree days: by hand, and a trial whose plants go by temperature."""

import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from trialkit._resources import resource_folder
from trialkit.analysis import analyse
from trialkit.analysis.recorded_responses import growing_degree_days, ripening_in_degree_days
from trialkit.rules.trial_folder import check_trial, read_trial


def test_a_day_by_hand() -> None:
    """8 to 20 degrees is 14 on average, 10 above a base of 4; 0 to 6 is below it (McMaster & Wilhelm 1997)."""
    found = growing_degree_days(pd.Series([8.0, 0.0]), pd.Series([20.0, 6.0]))
    assert found.to_list() == [10.0, 0.0]


def weather(days: int, site: str = "a") -> pd.DataFrame:
    """Every day 10 degree days, from 2027-05-01."""
    dates = pd.date_range("2027-05-01", periods=days)
    return pd.DataFrame({"site": site, "measured_on": dates, "t_min_c": 8.0, "t_max_c": 20.0})


def bounds(**columns: list[float]) -> pd.DataFrame:
    """Heads planted on 2027-05-03."""
    frame = pd.DataFrame(columns)
    return frame.assign(site="a", transplanted_on=pd.Timestamp("2027-05-03"))


def test_bounds_are_summed_over_the_days() -> None:
    """Ten days are 100 degree days; an open bound stays open on either side; beyond the table there is nothing."""
    heads = bounds(lower=[10.0, 12.0, -np.inf, 30.0, -np.inf], upper=[13.0, np.inf, 11.0, 33.0, 33.0])
    found = ripening_in_degree_days(heads, weather(20))
    assert found[["lower", "upper"]].to_numpy().tolist() == [[100.0, 130.0], [120.0, np.inf], [-np.inf, 110.0]]


def test_a_gap_in_the_weather_leaves_a_head_out() -> None:
    """One day missing before a head's harvest, and its sum is not known."""
    gap = weather(20).drop(index=8)
    assert ripening_in_degree_days(bounds(lower=[10.0], upper=[13.0]), gap).empty
    assert len(ripening_in_degree_days(bounds(lower=[3.0], upper=[5.0]), gap)) == 1


@pytest.fixture
def with_weather(tmp_path: Path) -> Path:
    """The spring example with a table of weather in which every day has 10 degree days."""
    folder = Path(shutil.copytree(resource_folder("example_trials") / "spring_dose", tmp_path / "trial"))
    rows = [
        f"{site},{day:%Y-%m-%d},8,20"
        for site in ("FERN", "MILL", "STAT", "HARB", "QUAR")
        for day in pd.date_range("2027-03-15", "2027-05-10")
    ]
    (folder / "weather.csv").write_text("site,measured_on,t_min_c,t_max_c\n" + "\n".join(rows) + "\n")
    return folder


def test_even_weather_makes_degree_days_days(with_weather: Path) -> None:
    """Where each day has 10 degree days, means are ten times those of days, and the base is said."""
    results = analyse(read_trial(with_weather))
    days, degrees = results.responses["days"], results.responses["degree_days"]
    assert degrees.unit == "°C d"
    assert [row.mean for row in degrees.means] == pytest.approx([10 * row.mean for row in days.means], rel=1e-6)
    assert results.decision is not None


def test_swapped_temperatures_are_an_error(with_weather: Path) -> None:
    """A lowest temperature above the highest is told, with its row."""
    path = with_weather / "weather.csv"
    path.write_text(path.read_text().replace("2027-03-15,8,20", "2027-03-15,20,8", 1))
    (problem,) = check_trial(with_weather).errors
    assert (problem.rule, problem.file, problem.row, problem.column) == ("TK-T01", "weather.csv", 2, "t_min_c")
