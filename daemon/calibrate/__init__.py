"""Room: calibration of a probe against known temperatures. Pure: traces and rows in, corrections out.

standstill, plateau: find the arrest in a trace or refuse it with the reason. correction: one point and its budget.
history: points become the calibration in force, with drift and due date. live: the same while it happens. chart: SVG.
Not here: known temperatures (drivers.calpoints), the record (daemon.records.calibrations), commands (pourcall.cli).
"""
