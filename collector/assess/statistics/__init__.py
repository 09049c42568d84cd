"""Statistics that the looks share: robust outliers, trends, slow shifts, rates of rare events. Pure; numpy at most."""
