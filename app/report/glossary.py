"""The words that pages, reports and docs share, each with what it means: told here and nowhere else."""

GLOSSARY: tuple[tuple[str, str], ...] = (
    ("reject", "the value lies beyond a limit by more than the measurement's own doubt"),
    ("review", "the value lies too near its limit to prove either, or it could not be measured: a person decides"),
    ("critical, major, minor", "how much a limit matters, as the works' limits say"),
    ("sure to", "the value may be off by so much, at the coverage that the limits ask for (usually 95 %)"),
    ("chance that it is kept", "how likely it is that the piece keeps the limit, its doubt reckoned in"),
    ("times stronger than the finish around it", "how clearly a mark stands out: 6 is faint, 30 is plain to see"),
    ("deviation", "how far the edge lies from the drawing: outward is too much metal, inward is metal missing"),
    ("burr, nick", "a short bump outward, a short one inward; longer than 6 mm they are swell and hollow"),
    ("scratch, pit", "a line, and a spot, in the polish; dust and lint are specks and never count"),
    ("mark, stain", "a flaw of the polish that is neither; and a dried drop, a film or a smear"),
    ("not seen", "where glare, shadow or a neighbour kept the frames from showing a mark that matters"),
    ("default limit", "one that holds where the works has set none"),
)
