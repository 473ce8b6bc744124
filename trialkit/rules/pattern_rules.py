"""Rules about what many records show together that no single one does: units, rounding, copying, uneven losses."""

from collections.abc import Iterator

import pandas as pd

from trialkit.documents.problems import FactValue, Problem
from trialkit.domain.heads import LOST, is_recorded
from trialkit.domain.units import OUNCE_G
from trialkit.rules.trial_tables import Tables, TrialTables, at_rows
from trialkit.tables.problem import problem

# A garden that weighs in ounces differs from the others by this factor (NIST Handbook 44, Appendix C). Gardens truly
# differ by less than the slack either way (common practice, no source). Pounds and kilograms are below every weight's
# lowest value already.
UNIT_SLACK = 2.0
FEWEST_OF_A_SITE = 5
# In whole grams two of ten last figures are 0 or 5. Half of 30 or more: one chance in 3,000 (binomial tail).
FEWEST_TO_SEE_ROUNDING = 30
ROUNDED_SHARE = 0.5
FEWEST_ALIKE_IN_A_BUCKET = 3
FEWEST_ALIKE_IN_TWO = 4
# Lettuce under lights reaches 150 g in about 35 days from seed (a university's hydroponic lettuce handbook, from
# memory), 4 g a day; seven times that no head does.
MOST_GRAMS_A_DAY = 30.0
NOTABLE_LOSS = 0.15
LOSS_LEVEL = 0.01


def weights_are_in_grams(tables: Tables) -> Iterator[Problem]:
    """TK-H13: no site's median weight lies below the heaviest site's by about the grams in an ounce (once a site)."""
    heads = tables.frame("heads")
    site = _site_of(tables, heads["bucket"])
    weighed = heads["weight_g"].where(heads["weight_g"] > 0)
    enough = weighed.groupby(site).count() >= FEWEST_OF_A_SITE
    medians = weighed.groupby(site).median()[enough]
    for name, median in medians.items():
        if 1 / UNIT_SLACK < medians.max() / median / OUNCE_G < UNIT_SLACK:
            row = int(heads.index[(site == name) & weighed.notna()][0])
            yield problem(
                "TK-H13",
                "heads.csv",
                row=row,
                column="weight_g",
                site=str(name),
                median=float(median),
                highest_site=str(medians.idxmax()),
                highest_median=float(medians.max()),
                grams_in_an_ounce=OUNCE_G,
            )


def weights_are_read_to_the_gram(tables: Tables) -> Iterator[Problem]:
    """TK-H14: a site's weights do not end in 0 or 5 far more often than chance has it (once a site)."""
    heads = tables.frame("heads")
    whole = heads["weight_g"].notna() & (heads["weight_g"] % 1 == 0)
    site = _site_of(tables, heads["bucket"])[whole]
    rounded = heads["weight_g"][whole] % 5 == 0
    for name, group in rounded.groupby(site):
        if len(group) >= FEWEST_TO_SEE_ROUNDING and group.mean() > ROUNDED_SHARE:
            yield problem(
                "TK-H14",
                "heads.csv",
                row=int(group.index[0]),
                column="weight_g",
                site=str(name),
                rounded=int(group.sum()),
                weights=len(group),
            )


def weights_are_not_copied(tables: Tables) -> Iterator[Problem]:
    """TK-H15: heads of a bucket do not all weigh the same, and no two buckets of a site share all their weights."""
    heads = tables.frame("heads")
    weighed = heads[heads["weight_g"].notna()].sort_values(["bucket", "head"], kind="stable")
    count = weighed.groupby("bucket")["weight_g"].agg(["size", "nunique"])
    rows = weighed.drop_duplicates("bucket").reset_index(names="row").set_index("bucket")["row"]
    for bucket in count.index[(count["size"] >= FEWEST_ALIKE_IN_A_BUCKET) & (count["nunique"] == 1)]:
        heads_alike = int(count.loc[bucket, "size"])
        yield _copied(rows[bucket], "within a bucket", bucket=str(bucket), heads=heads_alike)
    many = weighed[weighed["bucket"].isin(count.index[(count["size"] >= FEWEST_ALIKE_IN_TWO) & (count["nunique"] > 1)])]
    place = many.groupby("bucket").cumcount()
    listed = many.assign(place=place).pivot(index="bucket", columns="place", values="weight_g")
    weights = list(listed.columns)
    listed["site"], listed["row"] = _site_of(tables, listed.index.to_series()), rows.reindex(listed.index)
    again = listed[listed.duplicated(["site", *weights], keep=False)].sort_values("row")
    for _, group in again.groupby(["site", *weights], dropna=False):
        same = tuple(float(weight) for weight in group[weights].iloc[0].dropna())
        for bucket, row in group["row"].iloc[1:].items():
            yield _copied(row, "two buckets", first=str(group.index[0]), bucket=str(bucket), weights_g=same)


def _copied(row: int, case: str, **values: FactValue) -> Problem:
    return problem("TK-H15", "heads.csv", case, row=int(row), column="weight_g", **values)


def growth_is_not_too_fast(tables: Tables) -> Iterator[Problem]:
    """TK-H16: no head gained more a day than lettuce can."""
    reading = tables.readings["heads"]
    fast = grew_too_fast(reading.frame)
    yield from at_rows("TK-H16", reading, fast, "weight_g", most_g_a_day=MOST_GRAMS_A_DAY)


def grew_too_fast(heads: pd.DataFrame) -> pd.Series:
    """Tell for each row of heads.csv whether it weighs more than its days allow."""
    days = (heads["harvested_on"] - heads["transplanted_on"]).dt.days
    return (days > 0) & (heads["weight_g"] / days.clip(lower=1) > MOST_GRAMS_A_DAY)


def losses_do_not_follow_treatment(tables: TrialTables) -> Iterator[Problem]:
    """TK-H17: no level of a factor loses far more heads than another (said once a factor).

    Buckets are the replicates: shares of heads lost are ranked bucket by bucket (Kruskal & Wallis 1952, J. Am. Stat.
    Assoc. 47:583-621), so that heads that died together in one bucket count once.
    """
    heads = tables.frame("heads")
    lost = heads["outcome"].isin(LOST)[is_recorded(heads)].groupby(heads["bucket"]).mean()
    layout = tables.frame("layout").drop_duplicates("bucket").set_index("bucket")
    for column in tables.protocol.treatment_columns:
        level = layout[column].reindex(lost.index).astype(str)
        shares = lost.groupby(level).mean().sort_values()
        if len(shares) < 2 or shares.iloc[-1] - shares.iloc[0] < NOTABLE_LOSS:
            continue
        from scipy.stats import kruskal  # takes a second to load: only where there is something to test

        if kruskal(*(group for _, group in lost.groupby(level))).pvalue < LOSS_LEVEL:
            worst, best = shares.index[-1], shares.index[0]
            yield problem(
                "TK-H17",
                "heads.csv",
                column="outcome",
                factor=column,
                worst=str(worst),
                worst_pct=100 * float(shares.iloc[-1]),
                best=str(best),
                best_pct=100 * float(shares.iloc[0]),
            )


def _site_of(tables: Tables, buckets: pd.Series) -> pd.Series:
    """Look up each bucket's garden; blank where the layout does not know it."""
    place = tables.frame("layout").drop_duplicates("bucket").set_index("bucket")["site"]
    return place.reindex(buckets).set_axis(buckets.index).fillna("")
