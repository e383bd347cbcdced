"""Spots of a face: found at several scales and sized."""
