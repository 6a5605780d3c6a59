"""An intended melt: from what a person asks to a charge, a plan and a page with every number resolved. Pure."""
