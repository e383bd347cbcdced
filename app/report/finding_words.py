"""Findings in words: one source for pictures, reports and pages."""

from vision.records import (
    BendFinding,
    EdgeFinding,
    Finding,
    Mark,
    Opening,
    Pit,
    Scratch,
    Speck,
    Stain,
    Stray,
)


def finding_words(finding: Finding) -> str:
    """One finding with its values and units.

    Parameters
    ----------
    finding
        Of a piece.

    Returns
    -------
    str
        A line, in mm and degrees.

    Examples
    --------
    >>> from vision.records import Pit
    >>> finding_words(Pit((655.0, 402.5), (14.0, -1.2), 0.32, 12.0))
    'pit, 0.32 mm across, 12.0 times stronger than the finish around it'
    """
    match finding:
        case EdgeFinding():
            side = "outward" if finding.height_mm > 0 else "inward"
            return (
                f"{finding.kind}, {finding.zone}: {abs(finding.height_mm):.3f} mm {side} of the edge around it, "
                f"{finding.deviation_mm:+.3f} mm from the drawing, {finding.extent_mm:.1f} mm long".replace("-", "−")
            )
        case BendFinding():
            return f"bend, {finding.zone}: {finding.bend_deg:+.3f}°".replace("-", "−")
        case Scratch():
            size = f"{finding.length_mm:.2f} mm long, {finding.width_mm:.2f} mm wide"
            return f"scratch, {size}, {_strong_words(finding.snr)}{_likely_words(finding)}"
        case Opening():
            size = f"{finding.length_mm:.2f} mm long, {finding.width_mm:.3f} mm wide, {finding.area_mm2:.3f} mm²"
            return f"light through the metal, {size}"
        case Stray():
            what = "stands on the rim like a burr" if finding.joins else "lies at the rim"
            hides = f"hides {finding.extent_mm:.2f} mm of the outline"
            return f"something {what}, {finding.zone}: reaches {finding.reach_mm:.2f} mm out, {hides}"
        case Mark() | Stain():
            return f"{finding.kind}, {finding.area_mm2:.2f} mm²"
        case _:
            size = f"{finding.diameter_mm:.2f} mm across"
            return f"{finding.kind}, {size}, {_strong_words(finding.snr)}{_likely_words(finding)}"


def _strong_words(snr: float) -> str:
    """How clearly a mark stands out."""
    return f"{snr:.1f} times stronger than the finish around it"


def _likely_words(finding: Scratch | Pit | Speck) -> str:
    """How likely a candidate is a real mark; nothing of results that did not tell."""
    if finding.probability is None:
        return ""
    what = "pit" if isinstance(finding, Speck) else finding.kind
    return f", {min(100.0 * finding.probability, 99.0):.0f} % sure to be a {what}"


def with_because(finding: Finding) -> str:
    """One finding in words, and what weighed most in telling it a mark or none.

    Parameters
    ----------
    finding
        Of a piece.

    Returns
    -------
    str
        A line, in mm and degrees.
    """
    because = finding.because if isinstance(finding, Scratch | Pit | Speck) else ()
    return finding_words(finding) + (f" ({'; '.join(because)})" if because else "")


def finding_tag(finding: Finding) -> str:
    """The value that stands beside a finding's mark in a picture."""
    match finding:
        case EdgeFinding():
            return f"{finding.kind} {finding.height_mm:+.2f} mm".replace("-", "−")
        case BendFinding():
            return f"bend {finding.bend_deg:+.2f}°".replace("-", "−")
        case Scratch():
            return f"scratch {finding.length_mm:.1f} mm"
        case Opening():
            return f"opening {finding.area_mm2:.3f} mm²"
        case Stray():
            return f"stray {finding.reach_mm:.2f} mm"
        case Mark() | Stain():
            return f"{finding.kind} {finding.area_mm2:.1f} mm²"
        case _:
            return f"{finding.kind} {finding.diameter_mm:.2f} mm"
