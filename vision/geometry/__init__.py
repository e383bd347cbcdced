"""Polylines, rigid fits with covariance, and the camera (px to tray mm and back)."""
