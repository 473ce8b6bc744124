"""Checks in words: what was looked at, what was found, what follows."""

import pytest

from trialkit.documents.findings import (
    Check,
    Interval,
    MissingCheck,
    OutlierCheck,
    ReplicationCheck,
    ResidualsCheck,
    ScaleCheck,
    ShapeCheck,
    SiteSpread,
    SpreadCheck,
)
from trialkit.domain.treatment import Treatment
from trialkit.words.check_words import check_words

LOW, HIGH = SiteSpread("s2", 12, 8.0, 5.25), SiteSpread("s1", 12, 8.0, 36.0)
NOTHING = "Nothing to do."
MISSING, SPREAD, SCALE = "Buckets without a record", "Spread within each garden", "Scale of the response"


@pytest.mark.parametrize(
    ("check", "said"),
    [
        (MissingCheck(ok=True, buckets=24, missing=0, p=1.0), (MISSING, "All 24 buckets have a record.", NOTHING)),
        (MissingCheck(ok=True, buckets=8, missing=4, p=34 / 70, column="cultivar", level="milk"),
         (MISSING, "4 of 8 buckets have no record; no evidence (p = 0.49) that this goes with the treatment.",
          NOTHING)),
        (MissingCheck(ok=False, buckets=24, missing=8, p=0.0004, column="dose_tsp", level=6.0),
         (MISSING, "8 of 24 buckets have no record; strong evidence (p < 0.001) that this goes with the treatment.",
          "They are missing most often under 6 level teaspoons: if they were given up because they did badly, that "
          "treatment looks better than it is. Ask what became of them.")),
        (ReplicationCheck(ok=False, term="cultivar", df=3.0),
         ("Replication", "Least is known of cultivar: 3.0 degrees of freedom for error; 12 or more are usual.",
          "Intervals are wide because there are few buckets or gardens; another season would help most.")),
        (ReplicationCheck(ok=True, treatment=Treatment("Fenleaf", 4.0), df=33.25),
         ("Replication",
          "Least is known of Fenleaf with 4 level teaspoons of nutrient a bucket against the current practice: 33.2 "
          "degrees of freedom for error; 12 or more are usual.", NOTHING)),
        (ResidualsCheck(vary=False, df=12),
         ("Variation between like buckets", "Buckets treated alike in a block do not differ at all.",
          "Records of living things vary: were these weighed, or written down from one figure?")),
        (ResidualsCheck(vary=True, df=3),
         ("Buckets enough to check the model", "Only 3 degrees of freedom are left among the bucket means.",
          "The intervals rest on the assumption that buckets vary alike and symmetrically; it could not be checked.")),
        (ShapeCheck(ok=True, buckets=48, p=0.05),
         ("Shape of the variation between buckets",
          "Over 48 buckets, weak evidence (p = 0.05) against a bell shape (Shapiro-Wilk).", NOTHING)),
        (ShapeCheck(ok=False, buckets=48, p=0.002),
         ("Shape of the variation between buckets",
          "Over 48 buckets, strong evidence (p = 0.002) against a bell shape (Shapiro-Wilk).",
          "A few buckets are far from the rest or the spread is lopsided: read the intervals as approximate.")),
        (SpreadCheck(ok=True, lowest=LOW, highest=HIGH, p=0.4, uneven=False),
         (SPREAD,
          "Standard deviations between like buckets run from 5.25 at s2 to 36 at s1 (Levene: no evidence (p = 0.4) "
          "that they differ).", NOTHING)),
        (SpreadCheck(ok=False, lowest=LOW, highest=HIGH, p=0.004, uneven=False),
         (SPREAD,
          "Standard deviations between like buckets run from 5.25 at s2 to 36 at s1 (Levene: strong evidence (p = "
          "0.004) that they differ).", "Buckets at s1 vary most: its results count for more than they should.")),
        (SpreadCheck(ok=False, lowest=LOW, highest=HIGH, p=0.4, uneven=True),
         (SPREAD,
          "Standard deviations between like buckets run from 5.25 at s2 to 36 at s1 (Levene: no evidence (p = 0.4) "
          "that they differ).",
          "That is more than 3 times as much, so each garden was given a variance of its own, and s1 counts for "
          "less.")),
        (OutlierCheck(ok=True, bucket="B07", site="FERN", residual=-12.34, p=0.31),
         ("Single buckets that stand out",
          "Bucket B07 at FERN lies 12.3 g below what its treatment and block lead one to expect (may well be chance: p "
          "= 0.31, allowing for all buckets).", NOTHING)),
        (OutlierCheck(ok=False, bucket="B07", site="FERN", residual=90.0, p=0.0001),
         ("Single buckets that stand out",
          "Bucket B07 at FERN lies 90 g above what its treatment and block lead one to expect (hardly chance: p < "
          "0.001, allowing for all buckets).",
          "Look at this bucket's record before relying on the answer: a slip of the pen is likely.")),
        (ScaleCheck(ok=True, power=Interval(0.8, 0.3, 1.3), chosen=1.0),
         (SCALE, "Best power 0.8 (95 % interval 0.3 to 1.3): 1, the scale as it is, fits.", NOTHING)),
        (ScaleCheck(ok=False, power=Interval(-0.75, -1.1, -0.4), chosen=1.0),
         (SCALE, "Best power -0.75 (95 % interval -1.1 to -0.4): neither the scale as it is nor one with a name.",
          "Read the intervals as approximate.")),
        (ScaleCheck(ok=False, power=Interval(0.1, -0.2, 0.4), chosen=0.0),
         (SCALE, "Best power 0.1 (95 % interval -0.2 to 0.4): the logarithm would fit better.",
          "Means and intervals are on the scale as it is: read the intervals as approximate.")),
    ],
)  # fmt: skip
def test_checks(check: Check, said: tuple[str, str, str]) -> None:
    """Title, finding and consequence of every kind of check, in order and in doubt."""
    assert check_words(check, "g") == said
