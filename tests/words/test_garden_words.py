"""What a gain goes with, in words."""

from trialkit.documents.findings import Exploration, Interval
from trialkit.words.garden_words import exploration_sentence


def test_an_exploration_is_never_a_reason() -> None:
    """More with harder water, less with more sun."""
    line = Exploration("alkalinity_mg_l_caco3", 100.0, Interval(3.2, -1.0, 7.4), 0.09, 5)
    assert exploration_sentence(line, "g") == (
        "The gain was 3.2 g more for each 100 mg/L of alkalinity (1.0 g less to 7.4 g more, p = 0.09, 5 gardens). No "
        "lot decided which garden has how much alkalinity, so this is an idea for a trial and proves nothing."
    )
    sun = Exploration("sun_hours", 1.0, Interval(-3.2, -7.4, 1.0), 0.09, 5)
    assert "The gain was 3.2 g less for each hour of sun (" in exploration_sentence(sun, "g")
