"""How it is drawn: letters, scale, picture of past and future, widgets."""
