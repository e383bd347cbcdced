"""What may become of a frame as a whole, as shares of full scale: moved, blurred, compressed, lost in part."""

import cv2
import numpy as np

from vision.records import Array


def slid(frame: Array, right: float, down: float = 0.0, turn_deg: float = 0.0, scale: float = 1.0) -> Array:
    rows, columns = frame.shape
    motion = cv2.getRotationMatrix2D((columns / 2, rows / 2), turn_deg, scale)
    motion[:, 2] += (right, down)
    moved = cv2.warpAffine(frame.astype(np.float32), motion, (columns, rows), flags=cv2.INTER_CUBIC)
    return np.asarray(moved, np.float64)


def blurred(frame: Array, sigma: float) -> Array:
    return np.asarray(cv2.GaussianBlur(frame, (0, 0), sigma))


def coarse(frame: Array, times: float) -> Array:
    rows, columns = frame.shape
    small = cv2.resize(frame, (int(columns / times), int(rows / times)), interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.resize(small, (columns, rows), interpolation=cv2.INTER_LINEAR))


def bands(frame: Array, share: float) -> Array:
    """A lamp that flickers while the shutter rolls."""
    return frame * (1.0 + share * np.sin(np.arange(len(frame)) / 23.0))[:, None]


def half(frame: Array, keep: float, value: float) -> Array:
    out = frame.copy()
    out[int(keep * len(frame)) :] = value
    return out


def noisy(frame: Array, sigma: float, rng: np.random.Generator) -> Array:
    return frame + sigma * rng.standard_normal(frame.shape)


def jpeg(frame: Array, quality: float) -> Array:
    _, packed = cv2.imencode(".jpg", np.rint(255 * frame).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, int(quality)])
    return np.asarray(cv2.imdecode(packed, cv2.IMREAD_GRAYSCALE), np.float64) / 255


def median(frame: Array, size: float) -> Array:
    """A camera's own noise filter."""
    return np.asarray(cv2.medianBlur(np.rint(255 * frame).astype(np.uint8), int(size)), np.float64) / 255


def encoded(frame: Array, power: float, rng: np.random.Generator) -> Array:
    """Light raised to a power before it was rounded: what rounding took is drawn anew first."""
    return np.asarray(np.clip(frame + rng.uniform(-0.5, 0.5, frame.shape) / 255.0, 0.0, 1.0) ** power)
