"""The learned furnace: a model, an ensemble that follows a melt, and the fit that runs in a worker."""
