"""Room: the daemon. A pure engine, the records, and a thin shell of service, API and publishers round them."""
