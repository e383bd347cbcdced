"""The lots of a part of which only a sample is photographed, one after the other."""

from app.store.database.connection import Store
from app.store.lots.decisions import decisions
from app.store.lots.lot_list import list_lots, lot_values
from app.store.lots.lot_size import stated_size
from app.store.lots.pieces import lot_content
from app.store.lots.state import LotState
from app.store.people.verdicts import holding
from app.studies import (
    SampledLot,
    fates_of,
)


def series_up_to(store: Store, state: LotState) -> tuple[SampledLot, ...]:
    """The part's lots that were inspected by sample, up to and with this one, in order of time.

    Parameters
    ----------
    store
        An open store.
    state
        The lot's.

    Returns
    -------
    tuple[SampledLot, ...]
        The lots with their stated sizes and fates; empty where this one has no stated size.
    """
    own_lots = [known.lot for known in list_lots(store) if state.part in known.parts]
    stated = {name: stated_size(lot_values(store, name), state.part) for name in own_lots}
    sizes = {name: size for name, size in stated.items() if size is not None}
    names = list(sizes)
    if state.lot not in names:
        return ()
    series = []
    for name, follower in zip(names, [*names[1:], None], strict=True):
        pieces = lot_content(store, name, state.part).pieces
        fates = fates_of(pieces, holding(store, sorted(piece.piece_id for piece in pieces)))
        chosen = tuple(one.then for one in decisions(store, name, state.part) if one.then is not None)
        series.append(SampledLot(name, sizes[name], tuple(fates.values()), chosen, follower))
        if name == state.lot:
            break
    return tuple(series)
