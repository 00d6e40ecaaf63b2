"""attacks: see DEVELOPERS.md for what lives here."""
