"""What is due, in words."""

from __future__ import annotations

from trialkit.documents.plan import Event


def event_title(event: Event) -> str:
    """Say what to do in a few words."""
    match event.kind:
        case "sow":
            return "Sow"
        case "transplant":
            return "Mix and transplant"
        case "lids":
            return "Look at the lids"
        case "visit":
            last = ", the last harvest" if event.number == event.count else ""
            return f"Visit {event.number} of {event.count}{last}"


def event_detail(event: Event) -> str:
    """Say what to do in a sentence."""
    match event.kind:
        case "sow":
            return "Sow the seed of every cultivar in starter cubes, some more than is needed."
        case "transplant":
            return (
                "Mix each bucket as its label says, measure pH before and after the acid, set a seedling in each cup."
            )
        case "lids":
            return "See that lids sit tight and no mosquito gets in; note anything odd."
        case "visit":
            if event.number == event.count:
                return "Cut what is ready; record what became of every head that is left."
            return "Cut and weigh each head that is ready, bucket by bucket, and note which are not."
