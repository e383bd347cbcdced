"""A result as its format was agreed, key by key."""

from typing import Any

AGREED: dict[str, Any] = {
    "format": 1,
    "software": "brightbowl 0.1.0",
    "tray": "T-000123",
    "lot": "L-2611-07",
    "part": "TS-135",
    "station": "ST-1",
    "taken_at": "2026-11-02T06:00:00+00:00",
    "limits_revision": 3,
    "pieces": [
        {
            "piece": 1,
            "verdict": "reject",
            "reasons": [
                {
                    "measure": "outline_out_mm",
                    "zone": "bowl",
                    "value": 0.31,
                    "uncertainty": 0.011,
                    "max": 0.15,
                    "class": "major",
                    "outcome": "reject",
                }
            ],
            "fault": None,
            "pose": {"center_px": [1490.2, 361.0], "angle_deg": 3.2, "fit_rms_mm": 0.009},
            "measures": {"outline_out_mm": {"bowl": 0.31, "handle": None}, "length_mm": 135.02, "scratch_count": 2},
            "uncertainties": {
                "outline_out_mm": {"bowl": 0.011, "handle": None},
                "length_mm": 0.03,
                "scratch_count": 0.2,
            },
            "findings": [
                {
                    "kind": "burr",
                    "zone": "bowl",
                    "center_px": [612.0, 288.4],
                    "center_mm": [12.1, 13.0],
                    "height_mm": 0.31,
                    "deviation_mm": 0.31,
                    "extent_mm": 1.9,
                },
                {"kind": "bend", "zone": "handle", "bend_deg": 0.6},
                {
                    "kind": "scratch",
                    "points_px": [[700.1, 350.2], [742.8, 371.9]],
                    "points_mm": [[16.0, 3.1], [18.3, 2.0]],
                    "length_mm": 2.4,
                    "width_mm": 0.11,
                    "snr": 9.3,
                    "counted": True,
                },
                {
                    "kind": "pit",
                    "center_px": [655.0, 402.5],
                    "center_mm": [14.0, -1.2],
                    "diameter_mm": 0.32,
                    "snr": 12.0,
                    "counted": True,
                },
                {
                    "kind": "speck",
                    "center_px": [655.0, 402.5],
                    "center_mm": [14.0, -1.2],
                    "diameter_mm": 0.32,
                    "snr": 12.0,
                    "counted": False,
                },
                {
                    "kind": "opening",
                    "center_px": [655.0, 402.5],
                    "center_mm": [14.0, -1.2],
                    "area_mm2": 0.3,
                    "width_mm": 0.1,
                    "length_mm": 3.0,
                },
                {
                    "kind": "stray",
                    "zone": "bowl",
                    "center_px": [612.0, 288.4],
                    "center_mm": [12.1, 13.0],
                    "reach_mm": 1.5,
                    "extent_mm": 0.2,
                    "area_mm2": 0.24,
                    "joins": True,
                },
                *(
                    {
                        "kind": kind,
                        "center_px": [655.0, 402.5],
                        "center_mm": [14.0, -1.2],
                        "area_mm2": 0.5,
                        "outline_mm": [[13.0, -1.0], [15.0, -1.0], [14.0, 0.0]],
                        "outline_px": [[635.0, 402.5], [675.0, 402.5], [655.0, 382.5]],
                    }
                    for kind in ("mark", "stain")
                ),
            ],
        },
        {
            "piece": 2,
            "verdict": "review",
            "reasons": [],
            "fault": "cut_off",
            "pose": None,
            "measures": {"length_mm": None},
            "uncertainties": {"length_mm": None},
            "findings": [],
        },
    ],
    "tray_findings": [
        {"kind": "touching", "center_px": [1500.0, 900.0], "detail": "two pieces"},
        {"kind": "exposure", "center_px": None, "detail": "too bright"},
    ],
}
