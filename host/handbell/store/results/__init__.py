"""What a class comes to: read back, corrected, added up."""
