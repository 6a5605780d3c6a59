"""Pages over the main screen: the help, and the fields that start a melt."""
