"""The versions others depend on: of the program, of its API, of its settings file."""

VERSION = "0.1.0"
API_VERSION = "1.0"  # major.minor; a dashboard of another major version is read-only
SETTINGS_SCHEMA = 1
