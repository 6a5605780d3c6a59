"""Room: foresight. The learned furnace: what will be, from what is. model.py pure, fit.py for a worker process."""
