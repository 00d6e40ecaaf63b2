"""Do the tests notice when a line of the numbers' modules is changed? ``make mutation`` tells."""
