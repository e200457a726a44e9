"""Commands after class: results, people, corrections, and the store they are in."""
