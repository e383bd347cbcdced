"""What the camera side computes: from frames to measured and judged pieces; no people, database or screen."""
