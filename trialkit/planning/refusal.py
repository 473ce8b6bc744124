"""Why a design cannot be judged."""

from trialkit.documents.plan import Refusal
from trialkit.domain.errors import NotComputed


class CannotBeJudged(NotComputed):
    """A trial laid out like this could not be analysed.

    Attributes
    ----------
    refusal : Refusal
        Why.
    """

    def __init__(self, refusal: Refusal) -> None:
        super().__init__(refusal)
        self.refusal = refusal

    def __str__(self) -> str:
        """Name the reason: whoever tells a person says it in words (`trialkit.words.plan_words.refusal_sentence`)."""
        return f"A trial laid out like this could not be analysed: {self.refusal.code}."
