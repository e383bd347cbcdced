from .draft import (
    GAP_MM as GAP_MM,
    Choices as Choices,
    PartDraft as PartDraft,
    Seen as Seen,
    draft_part as draft_part,
    look as look,
)
from .laying import widths_at as widths_at
from .tracing import length_doubt as length_doubt, trace_master as trace_master
from .views import Views as Views
