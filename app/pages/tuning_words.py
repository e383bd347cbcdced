"""What is tuned, in words for the page: a measure or rule, and what the slider sets."""

from app.report import measure_words
from app.studies import COUNT_RULES, Target


def title_of(name: str) -> str:
    """A measure's title, or a counting rule by its key."""
    return f"[count] {name}" if name in COUNT_RULES else measure_words(name).title


def limit_words(target: Target) -> str:
    """What the slider sets, as `outward deviation, bowl: at most, mm`."""
    bound = "at least" if target.is_rule or target.side == "min" else "at most"
    what, how = (title_of(target.name), target.zone), (bound, target.unit)
    return f"{', '.join(filter(None, what))}: {', '.join(filter(None, how))}"
