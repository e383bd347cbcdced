"""The nouns: what is given, what was measured, what was judged."""
