"""Silhouettes: pieces of a tray, laid out, seen by a camera, covered exactly, with their exact truth."""
