"""Room: calibration of a probe against known temperatures. Pure: traces and rows in, corrections out.

plateau: finds the arrest in a trace or refuses it with the reason. correction: one point in emf with its budget.
history: points become the calibration in force, with drift and due date. live: the same while it happens. chart: SVG.
Not here: known temperatures (drivers.calpoints), the record (daemon.records.calibrations), commands (pourcall.cli).
"""
