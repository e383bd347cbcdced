"""Readers and writers of every agreed file, good input and bad."""
