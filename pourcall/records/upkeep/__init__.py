"""Opening, migrating, keeping, merging and thinning the file itself."""
