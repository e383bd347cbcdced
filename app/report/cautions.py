"""The cautions that every printed report carries: one source of their text."""

CAUTIONS: tuple[str, ...] = (
    "Stamped and trimmed pieces have burrs that cut: handle them with gloves that resist cuts.",
    "Presses, trimming and buffing machines are run with their guards in place, by trained people only.",
    "Bright strobes and lasers can harm eyes: have the station's lights assessed before anyone works beside them "
    "(IEC 62471 is the usual reference for lamps) and never look into them.",
    "A camera's verdict is no release for food contact or safety: it says what was seen of outline and finish, and "
    "nothing of material, coating, sharpness in use or cleanliness.",
    "Local codes and licensed practice come first.",
)
