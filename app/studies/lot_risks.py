"""What a lot's limits risk and how capable its process is of them, together, for reports and files."""

from dataclasses import dataclass

from app.studies.capability_study import LimitCapability, study_capability
from app.studies.columns import PieceColumns
from app.studies.decision_risk import LimitRisk, Risk, study_risk
from app.studies.study_files import Table, figure
from vision.records import Limits


@dataclass(frozen=True, slots=True)
class LotRisks:
    """Both, by the limits of revision `revision`."""

    revision: int
    risks: tuple[LimitRisk, ...]
    capability: tuple[LimitCapability, ...]


def study_lot_risks(pieces: PieceColumns, limits: Limits) -> LotRisks:
    """Risks of wrong decisions at each limit, and capability, from a lot's own distribution.

    Parameters
    ----------
    pieces
        The lot's pieces as columns; see `columns_of`.
    limits
        Limits of the part.

    Returns
    -------
    LotRisks
        Shares of pieces, and indices with their 95 % intervals.
    """
    return LotRisks(limits.revision, study_risk(pieces, limits), study_capability(pieces, limits))


def risks_table(found: LotRisks) -> Table:
    """As files have it.

    `risks`: for all limits together and for each, share of `bad` pieces by the lot's own distribution with the
    measurement uncertainty taken out, what is risked `now` and over the guard band's width (`curve`): `guard` in
    standard uncertainties, `consumer` (passes and is bad), `producer` (rejected and good), `reviewed`, `worst` (largest
    chance of being bad among those that pass). `capability`: indices with 95 % intervals, `likeness` of neighbouring
    trays, `steady` (trays differ no more than by chance), `effective` independent values, `normal_p`, `why` no index
    has an interval (empty where they have).

    Parameters
    ----------
    found
        What `study_lot_risks` found.

    Returns
    -------
    Table
        The table, ready for `json_text`.
    """
    return {
        "limits_revision": found.revision,
        "risks": [
            {
                "limit": one.name,
                "pieces": one.pieces,
                "bad": one.bad,
                "now": _risk(one.now),
                "curve": [_risk(risk) for risk in one.curve],
            }
            for one in found.risks
        ],
        "capability": [
            {
                "limit": one.name,
                "pieces": one.pieces,
                "cp": figure(one.found.cp),
                "cpk": figure(one.found.cpk),
                "pp": figure(one.found.pp),
                "ppk": figure(one.found.ppk),
                "likeness": one.found.likeness,
                "steady": one.found.steady,
                "effective": one.found.effective,
                "normal_p": one.found.normal_p,
                "why": one.found.why,
            }
            for one in found.capability
        ],
    }


def _risk(one: Risk) -> Table:
    return {
        "guard": one.guard,
        "consumer": one.consumer,
        "producer": one.producer,
        "reviewed": one.reviewed,
        "worst": one.worst,
    }
