"""Designs within the limits, what they are worth, and which is proposed: the verdict agrees with its own table."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from small_plan import small_plan, write_plan_folder
from trialkit.documents.document import as_text
from trialkit.documents.plan import DesignRow, LimitName, Plan, PlanVerdict
from trialkit.domain.thresholds import SAME_VALUE_G
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.effort import effort
from trialkit.planning.executors import simulation_executor
from trialkit.planning.simulated_power import exact_or_simulated_power
from trialkit.planning.trial_plan import make_plan
from trialkit.planning.trial_value import MUCH_LESS, SAVED_SHARE, SOME_MORE, choose
from trialkit.rules.trial_folder import read_trial
from trialkit.steps.plan_steps import model_of

PRICED = "cost_per_bucket = {cost}\nheads_a_year = {heads}\nprice_per_kg = 4\n"
WIDE = {"buckets_per_site": 16, "heads_per_bucket": 4, "sites": 6, "visits": 60}
TIGHTER = (
    {"buckets_per_site": 8},
    {"buckets_per_site": 4},
    {"heads_per_bucket": 2},
    {"heads_per_bucket": 1},
    {"sites": 3},
    {"sites": 2},
    {"visits": 24},
    {"visits": 9},
    {"buckets_per_site": 4, "sites": 2, "heads_per_bucket": 1},
)


def limits(**most: float) -> str:
    """The section of trial.toml."""
    return "\n".join(("[limits]", *(f"{name} = {value}" for name, value in most.items())))


SMALL: dict[str, dict[str, Any]] = {
    "as it is": {},
    "one block": {"blocks": 1},
    "three doses": {"doses": "[2, 4, 6]"},
    "wide": {"decision": limits(**WIDE)},
    "too many buckets": {"blocks": 4, "decision": limits(buckets_per_site=8)},
    "too many of everything": {"decision": limits(buckets_per_site=4, heads_per_bucket=1, sites=2)},
    "nothing fits": {"decision": limits(buckets_per_site=1)},
    "few visits": {"decision": limits(visits=9)},
    "little money": {"decision": "cost_per_bucket = 5\n" + limits(budget=60)},
    "cheap buckets": {"decision": PRICED.format(cost=1, heads=20_000) + limits(**WIDE)},
    "dear buckets": {"decision": PRICED.format(cost=20, heads=4000) + limits(**WIDE)},
    "dear beyond use": {"decision": PRICED.format(cost=500, heads=4000)},
    "a change costs much": {"decision": "change_cost_g = 80"},
}
"""Protocols of small trials."""


@pytest.fixture(params=SMALL)
def plan(request: pytest.FixtureRequest) -> Plan:
    """Plans of small trials; a test that takes it runs once for each."""
    return small_plan(**SMALL[request.param])


def allowed(plan: Plan) -> list[DesignRow]:
    """Designs that the limits allow."""
    return [row for row in plan.designs if not row.beyond]


def test_nothing_beyond_the_limits_is_proposed(plan: Plan) -> None:
    """Only the trial asked for may be beyond them, and then it is not the one proposed: each is held to each limit."""
    most = plan.limits
    for at, row in enumerate(plan.designs):
        within = {
            "buckets_per_site": row.buckets / row.sites <= most.buckets_per_site,
            "heads_per_bucket": row.heads <= most.heads_per_bucket,
            "sites": row.sites <= most.sites,
            "visits": most.visits is None or row.visits <= most.visits,
            "budget": most.budget is None or row.cost <= most.budget,
        }
        assert set(row.beyond) == {name for name, is_within in within.items() if not is_within}
        assert at == 0 or not row.beyond
    if plan.verdict in (PlanVerdict.RUN, PlanVerdict.ENLARGE):
        assert not plan.designs[plan.proposed].beyond


def test_the_verdict_agrees_with_the_table(plan: Plan) -> None:
    """Enlarging takes more and brings more; asking less takes less; nothing that is run as it is could be bettered."""
    check_verdict(plan.designs, plan.verdict, plan.proposed)
    assert plan.value.proposed.value_g == plan.designs[plan.proposed].value_g
    assert (plan.value.proposed == plan.value.asked) == (plan.proposed == 0)


def check_verdict(designs: tuple[DesignRow, ...], verdict: PlanVerdict, proposed: int) -> None:
    """Hold a verdict to a table of designs."""
    asked, row = designs[0], designs[proposed]
    found = [one for one in designs if not one.beyond]
    costed = bool(found) and all(one.worth_a_year is not None for one in found) and any(one.cost for one in found)
    match verdict:
        case PlanVerdict.RUN:
            assert proposed == 0
            assert not asked.beyond
            near = [one for one in found if one.buckets <= SOME_MORE * asked.buckets]
            if not costed:
                assert all(one.value_g < asked.value_g + SAME_VALUE_G for one in near)
                few = [one for one in found if one.buckets <= MUCH_LESS * asked.buckets]
                assert all(asked.value_g - one.value_g > min(SAME_VALUE_G, asked.value_g / 20) for one in few)
            else:
                assert all(net(one) - net(asked) < SAVED_SHARE * (asked.worth_a_year or 0) for one in found)
        case PlanVerdict.ENLARGE:
            assert proposed
            assert row.buckets >= asked.buckets
            assert asked.beyond or row.value_g > asked.value_g
            assert costed or asked.beyond or row.value_g >= asked.value_g + SAME_VALUE_G
        case PlanVerdict.ASK_LESS if proposed == 0:
            assert asked.beyond
            assert not found
        case PlanVerdict.ASK_LESS:
            assert costed or asked.beyond or asked.value_g - row.value_g <= asked.value_g / 20
            assert not row.beyond
            assert row.buckets <= asked.buckets
            assert asked.beyond or row.buckets < asked.buckets or row.treatments < asked.treatments
        case PlanVerdict.NOT_WORTH_IT:
            assert proposed == 0
            assert all(net(one) <= 0 if costed else one.value_g < SAME_VALUE_G for one in found)


def net(row: DesignRow) -> float:
    """Worth in a year less cost."""
    return (row.worth_a_year or 0.0) - row.cost


def test_every_verdict_comes_up() -> None:
    """Else the tests above would not have looked at it."""
    assert {small_plan(**what).verdict for what in SMALL.values()} == set(PlanVerdict)


@st.composite
def tables(draw: st.DrawFn) -> tuple[DesignRow, ...]:
    """Tables of designs, costed or not; at equal buckets and treatments more value is more gardens or heads."""
    base, is_costed = small_plan().designs[0], draw(st.booleans())
    price = draw(st.sampled_from([0.1, 1.0, 10.0]))
    beyond = st.sampled_from([(), (), ("sites",)])
    rows = []
    for at in range(draw(st.integers(1, 8))):
        value, buckets = draw(st.floats(0, 5)), draw(st.integers(2, 40))
        rows.append(
            replace(
                base,
                kind="asked" if at == 0 else "size",
                buckets=buckets,
                treatments=draw(st.sampled_from([3, 4])) if at else 4,
                value_g=value,
                cost=float(buckets) if is_costed else 0.0,
                worth_a_year=value * price if is_costed else None,
                beyond=draw(beyond),
            )
        )
    return tuple(rows)


@given(tables())
def test_any_table_has_a_verdict_that_agrees_with_it(rows: tuple[DesignRow, ...]) -> None:
    """Whatever designs there are."""
    check_verdict(rows, *choose(rows))


def test_more_of_anything_is_never_worth_less(plan: Plan) -> None:
    """One more garden, block or head in a bucket: the same draws tell both, so hardly a millionth is left to them."""
    rows = [row for row in plan.designs if row.kind in ("asked", "size")]
    for small in rows:
        for large in rows:
            if all(getattr(small, key) <= getattr(large, key) for key in ("sites", "blocks", "heads")):
                assert large.value_g >= small.value_g - 1e-6 * abs(small.value_g)


def test_efficient_designs(plan: Plan) -> None:
    """Along them value rises with buckets, and each of the others has one that takes as few and brings as much."""
    line = sorted((row for row in plan.designs if row.efficient), key=lambda row: row.buckets)
    assert [row.value_g for row in line] == sorted(row.value_g for row in line)
    for row in allowed(plan):
        better = [one for one in line if one.buckets <= row.buckets and one.value_g >= row.value_g]
        assert better
        assert row.efficient or any(one is not row for one in better)


@pytest.mark.parametrize("tighter", TIGHTER)
def test_a_tighter_limit_never_raises_the_best_value(tighter: dict[str, int]) -> None:
    """Whatever is added to the limits, the best design within them is worth no more."""
    wide, tight = small_plan(decision=limits(**WIDE)), small_plan(decision=limits(**(WIDE | tighter)))
    assert set(tight.limits.stated) == set(WIDE)
    best = max(row.value_g for row in allowed(wide))
    assert max((row.value_g for row in allowed(tight)), default=0.0) <= best * (1 + 1e-6)


def test_a_trial_beyond_the_limits_gets_one_within_them() -> None:
    """Sixteen buckets in a garden where eight have room: two blocks of the four."""
    plan = small_plan(**SMALL["too many buckets"])
    row = plan.designs[plan.proposed]
    assert plan.designs[0].beyond == ("buckets_per_site",)
    assert plan.verdict is PlanVerdict.ASK_LESS
    assert row.buckets / row.sites <= 8


def test_limits_that_are_not_stated_are_those_of_the_protocol() -> None:
    """As many buckets and heads as it asks for, twice the gardens; no limit of visits or money."""
    most = small_plan().limits
    assert (most.buckets_per_site, most.heads_per_bucket, most.sites) == (8, 2, 6)
    assert (most.visits, most.budget, most.stated) == (None, None, ())
    assert set(small_plan(decision=limits(**WIDE)).limits.stated) == set(get_args(LimitName)) - {"budget"}


def test_what_a_trial_takes(tmp_path: Path) -> None:
    """Three gardens of two blocks of four treatments, eight visits of each garden by the usual schedule."""
    write_plan_folder(tmp_path, decision="cost_per_bucket = 2.5")
    trial = read_trial(tmp_path, stage="plan")
    one = effort(trial.protocol, 3, 2)
    assert (one.buckets, one.buckets_per_site, one.cost) == (24, 8, 60.0)
    visits = [event for event in small_plan().calendar if event.kind == "visit"]
    assert one.visits == 3 * len(visits)


def test_money_follows_from_grams() -> None:
    """A gram a head on 20,000 heads is 20 kg, at 4 a kilogram 80."""
    plan = small_plan(**SMALL["cheap buckets"])
    one = plan.value.asked
    assert one.kg_a_year == pytest.approx(one.value_g * 20)
    assert one.worth_a_year == pytest.approx(one.value_g * 80)
    assert plan.designs[0].worth_a_year == pytest.approx(one.worth_a_year)


def test_a_simulated_plan_is_the_same_for_any_number_of_workers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The layout is not orthogonal, so that its power is simulated: in one process or in two, the same bytes."""
    layout = 'kind = "volunteer blocks"\nblock_size = 3'
    write_plan_folder(tmp_path)
    protocol = (tmp_path / "trial.toml").read_text("utf-8").replace("[layout]", f"[layout]\n{layout}")
    (tmp_path / "trial.toml").write_text(protocol, "utf-8")
    trial = read_trial(tmp_path, stage="plan")

    def text(workers: int) -> str:
        monkeypatch.setattr("trialkit._processes.cores", lambda: workers)
        with simulation_executor() as executor:
            judge = partial(exact_or_simulated_power, seed=5, executor=executor, replicates=100)
            return as_text(make_plan(trial, model_of(trial.protocol), Assumptions(), judge))

    one = text(1)
    assert '"simulated"' in one
    assert one == text(2)
