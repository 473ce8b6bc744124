"""The next trial of a ledger: of greatest value within the limits, over untried treatments and doses between."""

import itertools
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from once import once
from seasons import ON, accept, season, three_seasons
from trialkit._resources import resource_folder
from trialkit.analysis import Results
from trialkit.analysis.advising import Advice, advise
from trialkit.documents.document import as_text
from trialkit.domain.thresholds import SAME_VALUE_G
from trialkit.evidence.accepting import trial_entry
from trialkit.evidence.ledger import add
from trialkit.evidence.ledger_contents import LedgerContents, read_ledger
from trialkit.evidence.pooling import pooled_records, question_of, read_buckets
from trialkit.planning import next_trial
from trialkit.planning.next_trial import Levels, levels_of, propose
from trialkit.rules.trial_folder import read_trial


@pytest.fixture(scope="session")
def ledger(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three small seasons of two cultivars with 2 and 4 teaspoons each."""
    return once(tmp_path_factory, "seasons", lambda place: three_seasons(place / "ledger", place)) / "ledger"


def asked(ledger: Path) -> tuple[LedgerContents, Advice]:
    """What a ledger holds and says."""
    found = read_ledger(ledger)
    question = question_of(found, None)
    advice = advise(pooled_records(found, read_buckets(found.entries), question), question)
    assert isinstance(advice, Advice)
    return found, advice


def every_set(known: Levels) -> Iterator[Levels]:
    """Every choice of levels with what is recommended now among them."""
    factors = [
        [(some[0], *more) for n in range(len(some)) for more in itertools.combinations(some[1:], n)]
        for some in known.values()
    ]
    for chosen in itertools.product(*factors):
        levels = dict(zip(known, chosen, strict=True))
        yield {name: tuple(sorted(some)) if name == "dose" else some for name, some in levels.items()}


def test_the_search_finds_nearly_the_best_of_all_level_sets(ledger: Path) -> None:
    """Within 5 in 100 of the greatest value of all 64 sets; more than the trial as it was; in far fewer evaluations."""
    search = next_trial._Search.of(*asked(ledger))
    found = search.best()
    taken, value = len(search.tried), search.value(found)
    best = max(search.value(levels) for levels in every_set(search.known))
    assert len(list(every_set(search.known))) == 64
    assert taken < 32
    assert 0.95 * best <= value <= best
    as_before = {"cultivar": ("Fenleaf", "Larkmoor Butter"), "dose": (2.0, 4.0)}
    assert value > search.value(as_before)


def test_a_proposal_keeps_within_the_newest_protocol(ledger: Path) -> None:
    """Its gardens, its heads, no more buckets in a garden than it had; untried doses are among the levels."""
    found, advice = asked(ledger)
    proposed = propose(found, advice)
    assert proposed is not None
    assert (proposed.sites, proposed.heads, proposed.worth_it) == (("s1", "s2"), 2, True)
    assert proposed.buckets <= 2 * 8
    assert proposed.treatments == len(proposed.cultivars) * len(proposed.doses_tsp)
    assert proposed.buckets == proposed.treatments * proposed.blocks * 2
    assert {4.0} < set(proposed.doses_tsp)
    assert all(2.0 <= dose <= 4.0 and (4 * dose).is_integer() for dose in proposed.doses_tsp)
    assert list(levels_of(proposed)) == ["cultivar", "dose"]
    assert proposed == propose(found, advice)


def test_the_order_of_entries_does_not_matter(ledger: Path, tmp_path: Path) -> None:
    """The same trials, added the other way round, propose the same."""
    for name in ("three", "one", "two"):
        accept(tmp_path / "ledger", ledger.parent / name)
    mine, its = (propose(*asked(one)) for one in (ledger, tmp_path / "ledger"))
    assert mine is not None
    assert its is not None
    assert replace(mine, value_g=0.0) == replace(its, value_g=0.0)
    assert mine.value_g == pytest.approx(its.value_g, rel=1e-6)


def peaked(heads: pd.DataFrame) -> pd.DataFrame:
    """Weights that are greatest between 4 and 6 teaspoons."""
    dose, noise = heads["dose_tsp"].astype(float), heads["weight_g"].replace("", "0").astype(float) % 12
    weights = (170 - 6 * (dose - 5) ** 2 + noise).round(0).astype(int).astype(str)
    return heads.assign(weight_g=weights.where(heads["weight_g"] != "", ""))


def test_a_dose_between_those_tried_is_proposed_where_the_curve_peaks(tmp_path: Path) -> None:
    """Four doses, the peak at 5 teaspoons: a dose strictly between 4 and 6 is to be tried."""
    folder = season(
        tmp_path / "peak", "peak", "spring 2026", "2026-03-01", sites=3, blocks=2, doses=4, days=False, change=peaked
    )
    accept(tmp_path / "ledger", folder)
    found, advice = asked(tmp_path / "ledger")
    proposed = propose(found, advice)
    assert proposed is not None
    assert any(4.0 < dose < 6.0 for dose in proposed.doses_tsp)


@pytest.mark.parametrize("of", [{"buckets_per_site": 1}, {"budget": 1.0}])
def test_limits_that_allow_nothing(ledger: Path, of: dict[str, float]) -> None:
    """Where no two treatments fit there is nothing to propose."""
    found, advice = asked(ledger)
    protocol = found.latest.protocol
    changed = protocol.model_copy(
        update={
            "limits": protocol.limits.model_copy(update=of),
            "decision": protocol.decision.model_copy(update={"cost_per_bucket": 1.0}),
        }
    )
    assert propose(replace(found, latest=replace(found.latest, protocol=changed)), advice) is None


def test_limits_are_kept(ledger: Path) -> None:
    """A garden with room for three buckets gets no more."""
    found, advice = asked(ledger)
    protocol = found.latest.protocol
    changed = protocol.model_copy(update={"limits": protocol.limits.model_copy(update={"buckets_per_site": 3})})
    proposed = propose(replace(found, latest=replace(found.latest, protocol=changed)), advice)
    assert proposed is not None
    assert 2 * 2 <= proposed.buckets <= 3 * 2


def test_dear_buckets_are_not_worth_it(ledger: Path) -> None:
    """Where lettuce, heads a year and buckets have a price, worth counts less cost."""
    found, advice = asked(ledger)

    def priced(cost: float) -> bool:
        decision = found.latest.protocol.decision.model_copy(
            update={"heads_a_year": 1000.0, "price_per_kg": 8.0, "cost_per_bucket": cost}
        )
        protocol = found.latest.protocol.model_copy(update={"decision": decision})
        proposed = propose(replace(found, latest=replace(found.latest, protocol=protocol)), advice)
        assert proposed is not None
        return proposed.worth_it

    assert priced(0.5)
    assert not priced(50.0)


def test_nothing_is_left_to_find_out(example_results: Callable[[str], Results], tmp_path: Path) -> None:
    """After the autumn trial its best dose is settled: the best further trial of its treatments brings under a gram."""
    trial, results = read_trial(resource_folder("example_trials") / "autumn_dose"), example_results("autumn_dose")
    add(tmp_path / "ledger", trial_entry(trial, results, as_text(results).encode()), ON)
    proposed = propose(*asked(tmp_path / "ledger"))
    assert proposed is not None
    assert not proposed.worth_it
    assert 0 <= proposed.value_g < SAME_VALUE_G
    assert proposed.treatments >= 2


def test_volunteers_stay_volunteers() -> None:
    """More treatments than a volunteer has buckets stand in volunteer blocks again; others in complete ones."""
    protocol = read_trial(resource_folder("example_trials") / "volunteer_cultivars", stage="plan").protocol
    assert [next_trial.layout_for(protocol, n, 1, 5).kind for n in (2, 3, 4)] == [
        "randomised complete blocks", "randomised complete blocks", "volunteer blocks",
    ]  # fmt: skip
