"""Known temperatures to check a probe against: which there are, and what boiling water needs to be told."""

TEXTS: dict[str, str] = {
    "point.unknown": "'{typed}' is no known point",
    "point.no_grade": "'{typed}' is no grade of metal",
    "point.no_water": "altitude and air pressure belong to boiling water",
    "point.no_water.remedy": "Leave them out",
    "point.which_pressure": "boiling water needs either the altitude or the air pressure on the spot",
    "point.which_pressure.remedy": "Give --altitude 450m (better with --weather 1021hPa), or --pressure 962hPa",
    "point.weather": "--weather belongs to --altitude",
    "point.weather.remedy": "Give --altitude with --weather, or --pressure alone",
    "point.pressure_outside": "an air pressure of {pressure_hpa} hPa is outside {least_hpa} to {most_hpa} hPa",
    "point.absolute.remedy": "Give the pressure on the spot in hPa, not the one reduced to sea level",
    "point.altitude": "an altitude of {altitude_m} m is outside -500 to 6000 m",
    "point.altitude.remedy": "Give it in metres",
    "point.sea_level": "{pressure_hpa} hPa at sea level is outside 900 to 1090 hPa",
    "point.sea_level.remedy": "Give it as the weather report does",
}
