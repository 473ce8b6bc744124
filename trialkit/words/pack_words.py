"""What every paper of a garden says alike: what to sow and to feed, and whom to send the records to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from trialkit.languages import gettext
from trialkit.protocol.sections import USUAL_CONTACT


@dataclass(frozen=True)
class SameForAll:
    """What is no treatment, as all buckets have it: a sentence each, or nothing."""

    cultivar: Annotated[str, "Empty where several are tried, or nobody named one."]
    nutrient: Annotated[str, "Empty where nobody named a product."]

    @property
    def sentences(self) -> tuple[str, ...]:
        """Those that there are."""
        return tuple(filter(None, (self.cultivar, self.nutrient)))


def same_for_all(cultivars: Sequence[str], product: str | None) -> SameForAll:
    """Say which cultivar is sown, where it is one, and which product feeds it.

    Examples
    --------
    >>> same_for_all(["Fenleaf"], "Blend L 9-12-30").sentences
    ('Sow this cultivar and no other: Fenleaf.', 'Use this nutrient and no other: Blend L 9-12-30.')
    >>> same_for_all(["Fenleaf", "Paleheart"], None).sentences
    ()
    """
    return SameForAll(
        gettext("Sow this cultivar and no other: {cultivar}.", cultivar=cultivars[0]) if len(cultivars) == 1 else "",
        gettext("Use this nutrient and no other: {product}.", product=product) if product else "",
    )


def send_to(contact: str) -> str:
    """Whom records are sent to, in the language that is spoken; empty where no more is known than the usual role.

    Examples
    --------
    >>> send_to("Horticulture desk, Mill Street 5"), send_to("county horticulture adviser")
    ('Horticulture desk, Mill Street 5', '')
    """
    return "" if contact in ("", USUAL_CONTACT) else gettext(contact)
