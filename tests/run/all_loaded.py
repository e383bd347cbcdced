"""All that a process needs that judges or opens a store, loaded once; see `quick_workers`."""

from importlib import import_module

for name in ("app.run.attempt", "app.store.database.connection", "psycopg", "vision.pipeline"):
    import_module(name)
for room in ("backlight", "decide", "face", "formats", "geometry", "outline", "records"):
    door = import_module(f"vision.{room}")
    for name in door.__all__:
        getattr(door, name)
