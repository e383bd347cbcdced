"""What holds for all tests."""

from hypothesis import settings

# No timed assertion: on a busy machine an example may take its time.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
