"""Rules about what many records show together that no single one does: units, rounding, copying, uneven losses."""

from collections.abc import Iterator

import pandas as pd

from trialkit.documents.problems import Problem
from trialkit.rules.trial_tables import Tables, TrialTables, at_rows
from trialkit.tables.problem import problem

LOST = ("dead", "missing")
# A garden that weighs in ounces differs from the others by this factor (NIST Handbook 44, Appendix C). Gardens truly
# differ by less than the slack either way (common practice, no source). Pounds and kilograms are below every weight's
# lowest value already.
GRAMS_IN_AN_OUNCE = 28.349523125
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
        if 1 / UNIT_SLACK < medians.max() / median / GRAMS_IN_AN_OUNCE < UNIT_SLACK:
            row = int(heads.index[(site == name) & weighed.notna()][0])
            found = f"a median of {median:.3g} at {name}, where {medians.idxmax()} has {medians.max():.3g}"
            mend = (
                f"If {name} weighed in ounces, multiply its weights by {GRAMS_IN_AN_OUNCE:.5g}; if not, look them up."
            )
            yield problem("TK-H13", "heads.csv", "grams", row=row, column="weight_g", found=found, mend=mend)


def weights_are_read_to_the_gram(tables: Tables) -> Iterator[Problem]:
    """TK-H14: a site's weights do not end in 0 or 5 far more often than chance has it (once a site)."""
    heads = tables.frame("heads")
    whole = heads["weight_g"].notna() & (heads["weight_g"] % 1 == 0)
    site = _site_of(tables, heads["bucket"])[whole]
    rounded = heads["weight_g"][whole] % 5 == 0
    for name, group in rounded.groupby(site):
        if len(group) >= FEWEST_TO_SEE_ROUNDING and group.mean() > ROUNDED_SHARE:
            found = f"{int(group.sum())} of {len(group)} weights at {name} that end in 0 or 5"
            expected = "about one weight in five"
            yield problem("TK-H14", "heads.csv", expected, row=int(group.index[0]), column="weight_g", found=found)


def weights_are_not_copied(tables: Tables) -> Iterator[Problem]:
    """TK-H15: heads of a bucket do not all weigh the same, and no two buckets of a site share all their weights."""
    heads = tables.frame("heads")
    weighed = heads[heads["weight_g"].notna()].sort_values(["bucket", "head"], kind="stable")
    count = weighed.groupby("bucket")["weight_g"].agg(["size", "nunique"])
    rows = weighed.drop_duplicates("bucket").reset_index(names="row").set_index("bucket")["row"]
    for bucket in count.index[(count["size"] >= FEWEST_ALIKE_IN_A_BUCKET) & (count["nunique"] == 1)]:
        found = f"{count.loc[bucket, 'size']} heads of bucket {bucket}, all of the same weight"
        yield _copied(rows[bucket], found)
    many = weighed[weighed["bucket"].isin(count.index[(count["size"] >= FEWEST_ALIKE_IN_TWO) & (count["nunique"] > 1)])]
    place = many.groupby("bucket").cumcount()
    listed = many.assign(place=place).pivot(index="bucket", columns="place", values="weight_g")
    weights = list(listed.columns)
    listed["site"], listed["row"] = _site_of(tables, listed.index.to_series()), rows.reindex(listed.index)
    again = listed[listed.duplicated(["site", *weights], keep=False)].sort_values("row")
    for _, group in again.groupby(["site", *weights], dropna=False):
        shown = ", ".join(f"{weight:g}" for weight in group[weights].iloc[0].dropna())
        for bucket, row in group["row"].iloc[1:].items():
            yield _copied(row, f"the weights of bucket {group.index[0]} again at bucket {bucket}: {shown}")


def _copied(row: int, found: str) -> Problem:
    return problem("TK-H15", "heads.csv", "weights of their own", row=int(row), column="weight_g", found=found)


def growth_is_not_too_fast(tables: Tables) -> Iterator[Problem]:
    """TK-H16: no head gained more a day than lettuce can."""
    reading = tables.readings["heads"]
    days = (reading.frame["harvested_on"] - reading.frame["transplanted_on"]).dt.days
    fast = (days > 0) & (reading.frame["weight_g"] / days.clip(lower=1) > MOST_GRAMS_A_DAY)
    expected = f"at most {MOST_GRAMS_A_DAY:g} g for each day from transplanting to harvest"
    yield from at_rows("TK-H16", reading, fast, "weight_g", expected)


def losses_do_not_follow_treatment(tables: TrialTables) -> Iterator[Problem]:
    """TK-H17: no level of a factor loses far more heads than another (said once a factor).

    Buckets are the replicates: shares of heads lost are ranked bucket by bucket (Kruskal & Wallis 1952, J. Am. Stat.
    Assoc. 47:583-621), so that heads that died together in one bucket count once.
    """
    heads = tables.frame("heads")
    lost = heads["outcome"].isin(LOST)[heads["outcome"] != ""].groupby(heads["bucket"]).mean()
    layout = tables.frame("layout").drop_duplicates("bucket").set_index("bucket")
    for column in tables.protocol.treatment_columns:
        level = layout[column].reindex(lost.index).astype(str)
        shares = lost.groupby(level).mean().sort_values()
        if len(shares) < 2 or shares.iloc[-1] - shares.iloc[0] < NOTABLE_LOSS:
            continue
        from scipy.stats import kruskal  # takes a second to load: only where there is something to test

        if kruskal(*(group for _, group in lost.groupby(level))).pvalue < LOSS_LEVEL:
            worst, best = shares.index[-1], shares.index[0]
            found = (
                f"{100 * shares.iloc[-1]:.0f} % of the heads lost with {column} {worst}, {100 * shares.iloc[0]:.0f} % "
                f"with {best}"
            )
            yield problem("TK-H17", "heads.csv", "losses alike in all treatments", column="outcome", found=found)


def _site_of(tables: Tables, buckets: pd.Series) -> pd.Series:
    """Look up each bucket's garden; blank where the layout does not know it."""
    place = tables.frame("layout").drop_duplicates("bucket").set_index("bucket")["site"]
    return place.reindex(buckets).set_axis(buckets.index).fillna("")
