"""The page: a hold on a phone, past holds to look back at, alarms that reach a person, and feeds for other programs."""
