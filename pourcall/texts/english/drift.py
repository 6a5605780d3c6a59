"""The drift of a probe, and what is on record of its calibrations."""

TEXTS: dict[str, str] = {
    "drift.name": "Drift of {probe}",
    "drift.title": "Probe {probe}: error at known temperatures",
    "drift.none": "No calibration on record.",
    "drift.point": "{point} {at_c}",
    "drift.foot": "Bars: expanded uncertainty (k = 2). Above 0 the probe reads high.",
}
