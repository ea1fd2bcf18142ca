"""What the log says; statsmodels lives here."""
