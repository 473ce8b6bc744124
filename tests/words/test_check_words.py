"""Checks in words: what was looked at, what was found, what follows, and the figures."""

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
MISSING, SPREAD, SCALE = "Buckets without a record", "Spread within each garden", "How the records are compared"
COMPARE, SHAPE, OUTLIER = "Enough buckets to compare", "How like buckets differ", "Single buckets that stand out"
APPROXIMATE = "Take every interval as rough."
AT_EACH = "Like buckets differ least at s2 and most at s1."
APART = "Standard deviations run from 5.25 to 36. Levene's test has {} that they differ."
SCALED = "They are compared as they are, but "


@pytest.mark.parametrize(
    ("check", "said"),
    [
        (MissingCheck(ok=True, buckets=24, missing=0, p=1.0), (MISSING, "All 24 buckets have a record.", "", "")),
        (MissingCheck(ok=True, buckets=8, missing=4, p=34 / 70, column="cultivar", level="milk"),
         (MISSING, "4 of 8 buckets have no record.", "",
          "There is no evidence (p = 0.49) that this goes with the treatment.")),
        (MissingCheck(ok=False, buckets=24, missing=8, p=0.0004, column="dose_tsp", level=6.0),
         (MISSING, "8 of 24 buckets have no record.",
          "They are missing most often with 6 level teaspoons. If they were given up because they did badly, that "
          "treatment looks better than it is. Ask what became of them.",
          "There is strong evidence (p < 0.001) that this goes with the treatment.")),
        (ReplicationCheck(ok=False, term="cultivar", df=3.0),
         (COMPARE, "Least is known of the effect of cultivar.",
          "Intervals are wide because there are few buckets or gardens. Another season would help most.",
          "It has 3.0 degrees of freedom for error, where 12 or more are usual.")),
        (ReplicationCheck(ok=True, treatment=Treatment("Fenleaf", 4.0), df=33.25),
         (COMPARE, "Least is known of Fenleaf with 4 level teaspoons of nutrient a bucket.", "",
          "It has 33.2 degrees of freedom for error, where 12 or more are usual.")),
        (ResidualsCheck(vary=False, df=12),
         ("Differences between like buckets", "Buckets treated alike in a block do not differ at all.",
          "Living things differ. Was each bucket weighed, or were all written down from one figure?", "")),
        (ResidualsCheck(vary=True, df=3),
         ("Enough buckets to check the model", "There are too few buckets to see how like buckets differ.",
          "The intervals assume that they differ by luck alone, which could not be checked.",
          "Only 3 degrees of freedom are left among the bucket means.")),
        (ShapeCheck(ok=True, buckets=48, p=0.05),
         (SHAPE, "Like buckets differ as luck makes them differ.", "",
          "Over 48 buckets, there is weak evidence (p = 0.05) against a bell shape (Shapiro-Wilk).")),
        (ShapeCheck(ok=False, buckets=48, p=0.002),
         (SHAPE, "A few buckets are far from the rest, or most lie to one side.", APPROXIMATE,
          "Over 48 buckets, there is strong evidence (p = 0.002) against a bell shape (Shapiro-Wilk).")),
        (SpreadCheck(ok=True, lowest=LOW, highest=HIGH, p=0.4, uneven=False),
         (SPREAD, AT_EACH, "", APART.format("no evidence (p = 0.4)"))),
        (SpreadCheck(ok=False, lowest=LOW, highest=HIGH, p=0.004, uneven=False),
         (SPREAD, AT_EACH, "The results of s1 count for more than they should.",
          APART.format("strong evidence (p = 0.004)"))),
        (SpreadCheck(ok=False, lowest=LOW, highest=HIGH, p=0.4, uneven=True),
         (SPREAD, AT_EACH, "At s1 they differ more than 3 times as much as at s2, so its buckets count for less.",
          APART.format("no evidence (p = 0.4)"))),
        (OutlierCheck(ok=True, bucket="B07", site="FERN", residual=-12.34, p=0.31),
         (OUTLIER, "Bucket B07 at FERN lies 12.3 g below what its treatment and block lead one to expect.", "",
          "That may well be luck (p = 0.31, allowing for all buckets).")),
        (OutlierCheck(ok=False, bucket="B07", site="FERN", residual=190.4, p=0.0001),
         (OUTLIER, "Bucket B07 at FERN lies 190 g above what its treatment and block lead one to expect.",
          "Look at this bucket's record before you rely on the answer, since a slip of the pen is likely.",
          "That can hardly be luck (p < 0.001, allowing for all buckets).")),
        (ScaleCheck(ok=True, power=Interval(0.8, 0.3, 1.3), chosen=1.0),
         (SCALE, "They can be compared as they are.", "",
          "Best power 0.8 (95 % interval 0.3 to 1.3), where 1 is the scale as it is.")),
        (ScaleCheck(ok=False, power=Interval(-0.75, -1.1, -0.4), chosen=1.0),
         (SCALE, f"{SCALED}no usual scale fits them well.", APPROXIMATE,
          "Best power -0.75 (95 % interval -1.1 to -0.4), where 1 is the scale as it is.")),
        (ScaleCheck(ok=False, power=Interval(0.1, -0.2, 0.4), chosen=0.0),
         (SCALE, f"{SCALED}another scale would fit them better.", APPROXIMATE,
          "Best power 0.1 (95 % interval -0.2 to 0.4), where 1 is the scale as it is. Their logarithm would fit "
          "better.")),
    ],
)  # fmt: skip
def test_checks(check: Check, said: tuple[str, str, str, str]) -> None:
    """Title, finding, consequence and figures of every kind of check, in order and in doubt."""
    assert check_words(check, "g") == said
