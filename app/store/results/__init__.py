"""What was judged: filed once, recalled as records, shown, exported."""
