"""Lines of a face: looked for, traced, measured along their course, joined."""
