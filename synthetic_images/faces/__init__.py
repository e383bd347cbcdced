"""Front-lit frames of polished pieces, with their exact truth."""
