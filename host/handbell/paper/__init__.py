"""A plan on paper, in a calendar, in a spreadsheet and as sound."""
