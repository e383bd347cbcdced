"""What people said, which pieces wait for them, and their blind rounds."""
